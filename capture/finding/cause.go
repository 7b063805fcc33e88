package finding

import "strings"

// Joint is one finding of a recording on all the channels that it concerns: Channel and
// Message are those of all, in words.
type Joint struct {
	Finding
	Channels []string // in the order in which they were met; nil for the whole file
}

// ByCause joins findings of one recording that have one cause: the same code, severity
// and remedy on several channels are one finding, whose channels are joined by "and" and
// whose messages, where they differ, stand one after the other, each with its channel.
// It is for showing: the value is that of the first. Findings keep the order in which
// their causes were met; nil gives nil.
func ByCause(findings []Finding) []Joint {
	var order []cause
	same := map[cause][]Finding{}
	for _, f := range findings {
		c := causeOf(f)
		if same[c] == nil {
			order = append(order, c)
		}
		same[c] = append(same[c], f)
	}
	var out []Joint
	for _, c := range order {
		out = append(out, joined(same[c]))
	}
	return out
}

func joined(same []Finding) Joint {
	j := Joint{Finding: same[0]}
	one := true
	for _, f := range same {
		one = one && f.Message == j.Message
		if f.Channel != "" {
			j.Channels = append(j.Channels, f.Channel)
		}
	}
	j.Channel = strings.Join(j.Channels, " and ")
	if one {
		return j
	}
	var each []string
	for _, f := range same {
		each = append(each, of(f))
	}
	j.Message = strings.Join(each, "; ")
	return j
}

// of is a message that names its channel.
func of(f Finding) string {
	if f.Channel == "" {
		return f.Message
	}
	return f.Message + " (" + f.Channel + ")"
}
