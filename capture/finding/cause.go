package finding

// ByCause joins findings of one recording that have one cause: the same code, severity
// and remedy on several channels are one finding, whose channels are joined by "and" and
// whose messages, where they differ, stand one after the other, each with its channel.
// Order is kept; nil gives nil. It is for showing: the value is that of the first.
// Findings keep the order in which their causes were met; nil gives nil.
func ByCause(findings []Finding) []Finding {
	var out []Finding
	at := map[cause]int{}
	same := map[cause][]Finding{}
	for _, f := range findings {
		c := causeOf(f)
		same[c] = append(same[c], f)
		if _, seen := at[c]; !seen {
			at[c] = len(out)
			out = append(out, f)
		}
	}
	for c, i := range at {
		out[i].Channel, out[i].Message = joined(same[c])
	}
	return out
}

func joined(same []Finding) (channel, message string) {
	channel, message = same[0].Channel, same[0].Message
	one := true
	for _, f := range same {
		one = one && f.Message == message
	}
	if !one {
		message = of(same[0])
	}
	for _, f := range same[1:] {
		if f.Channel != "" {
			channel += " and " + f.Channel
		}
		if !one {
			message += "; " + of(f)
		}
	}
	return channel, message
}

// of is a message that names its channel.
func of(f Finding) string {
	if f.Channel == "" {
		return f.Message
	}
	return f.Message + " (" + f.Channel + ")"
}
