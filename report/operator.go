package report

// NeedsOperator reports whether any seating asks for something to be done or
// looked at: a recording that was refused, a fixture seating that is not shown
// to be good, one that stands out of its group.
func NeedsOperator(r Results) bool {
	for _, rec := range r.Recordings {
		if !rec.Usable {
			return true
		}
	}
	for _, s := range fixtureSeatings(r) {
		if s.act != actUse {
			return true
		}
	}
	for _, s := range r.Analysis.StandOuts {
		if s.Flagged {
			return true
		}
	}
	return false
}
