package stats

// UniqueNames returns the distinct names in order of first appearance.
func UniqueNames(names []string) []string {
	var out []string
	seen := make(map[string]bool)
	for _, n := range names {
		if !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return out
}
