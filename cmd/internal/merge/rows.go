package merge

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"asworn/capture/study"
	"asworn/capture/textfile"
)

// from is a row and the study whose sheet it is in.
type from struct {
	part *study.Study
	row  study.Seating
}

func (f from) sheet() string { return filepath.Join(f.part.Dir, study.SheetFile) }

func (f from) String() string { return fmt.Sprintf("row %d of %s", f.row.Row, f.sheet()) }

// problem is one with a row.
func (f from) problem(mend, format string, args ...any) textfile.Problem {
	return textfile.Problem{File: f.sheet(), Line: f.row.Row, Message: fmt.Sprintf(format, args...), Mend: mend}
}

const renumber = "give one of the two another seating number"

// rowsOf are the rows of all studies. A row that two studies share, with the same
// file byte for byte, is taken from the first alone. It finds what stands in one
// sheet as it may, and in two does not: a placement recorded twice or at the other
// point, a file in two rows, names that differ in case or spaces alone.
func rowsOf(parts []*study.Study) (out []study.Seating, problems textfile.Errors, err error) {
	placements, anywhere, files := map[study.Placement]from{}, map[study.Placement]from{}, map[string]from{}
	type spelling struct{ name, sheet string }
	names := map[string]spelling{} // by column and the name in lower case
	for _, s := range parts {
		for _, r := range allRows(s) {
			here := from{s, r}
			was, again := placements[r.Placement()]
			again = again && was.part != s
			if again && was.row.File == r.File {
				same, err := sameFiles(was, here)
				if err != nil {
					return nil, nil, err
				}
				if same {
					problems = append(problems, differently(was, here)...)
					continue
				}
			}
			other, touched := anywhere[r.Placement().Anywhere()]
			switch {
			case again:
				problems = append(problems, here.problem(renumber+", or take one out", "the same placement is %s", was))
			case touched && other.part != s && r.Model != "":
				problems = append(problems, here.problem(renumber+"; equal ones say that the headphone was not touched in between",
					"the same placement at the other point is %s", other))
			}
			for _, f := range r.Files() {
				if used, ok := files[f]; ok && used.part != s {
					problems = append(problems, here.problem("rename the recording in one of the studies, in the folder and in the sheet",
						"%s is also the recording of %s", f, used))
				}
				files[f] = here
			}
			for _, n := range [][2]string{{"subject", r.Subject}, {"model", r.Model}, {"loudspeaker", r.Loudspeaker}} {
				key := n[0] + " " + strings.Join(strings.Fields(strings.ToLower(n[1])), " ")
				if first, ok := names[key]; !ok {
					names[key] = spelling{n[1], here.sheet()}
				} else if first.name != n[1] {
					problems = append(problems, here.problem(fmt.Sprintf("write %q in every row of both studies, or another name if it is not the same", first.name),
						"%s %q differs from %q in %s only in case or spaces", n[0], n[1], first.name, first.sheet))
				}
			}
			placements[r.Placement()], anywhere[r.Placement().Anywhere()] = here, here
			out = append(out, r)
		}
	}
	return out, problems, nil
}

// sameFiles reports whether two rows of the same paths hold the same, byte for byte.
func sameFiles(a, b from) (bool, error) {
	for _, name := range a.row.Files() {
		same, err := sameBytes(file{name, a.part.Dir}.path(), file{name, b.part.Dir}.path())
		if err != nil || !same {
			return false, err
		}
	}
	return true, nil
}

// differently finds what two rows of one recording say differently.
func differently(a, b from) textfile.Errors {
	x, y := a.row, b.row
	x.Row, y.Row = 0, 0
	if reflect.DeepEqual(x, y) {
		return nil
	}
	return textfile.Errors{b.problem("write the same in both rows", "it has the recording of %s, and says something else about it", a)}
}

// readingsClash finds readings of a placement of one study whose subject, model and
// number are also those of a row of another, so that they would become readings of both.
func readingsClash(parts []*study.Study) (problems textfile.Errors) {
	type placing struct {
		subject, model string
		number         int
	}
	of := map[placing][]from{}
	for _, s := range parts {
		for _, r := range allRows(s) {
			k := placing{r.Subject, r.Model, r.Number}
			of[k] = append(of[k], from{s, r})
		}
	}
	for _, s := range parts {
		told := map[placing]bool{}
		for _, r := range slices.Concat(s.Readings, s.NotRead) {
			k := placing{r.Subject, r.Model, r.Number}
			if r.Model == "" || told[k] {
				continue
			}
			shared := func(a from) bool {
				return slices.ContainsFunc(of[k], func(b from) bool { return b.part == s && a.row.Placement() == b.row.Placement() })
			}
			if at := slices.IndexFunc(of[k], func(a from) bool { return a.part != s && !shared(a) }); at >= 0 {
				told[k] = true
				problems = append(problems, textfile.Problem{File: filepath.Join(s.Dir, study.ReadingsFile), Line: r.Row,
					Message: fmt.Sprintf("its reading of seating %d of %s on %s would be one of %s too", r.Number, r.Model, r.Subject, of[k][at]), Mend: renumber})
			}
		}
	}
	return problems
}

// foundBy are the readings of one of the studies. Readings are from the mean of their own study's
// findings of an entrance, which differs from study to study: of each head the findings of that
// study stay which found it the least often, so that the merged one does not count
// more than any reading has behind it.
func foundBy(parts []*study.Study, s *study.Study) []study.ReadingRow {
	fewest := map[string]*study.Study{}
	return slices.DeleteFunc(slices.Clone(s.Readings), func(r study.ReadingRow) bool {
		if r.Model != "" {
			return false
		}
		if fewest[r.Subject] == nil {
			fewest[r.Subject] = slices.MinFunc(parts, func(a, b *study.Study) int { return cmp.Compare(findings(a, r.Subject), findings(b, r.Subject)) })
		}
		return fewest[r.Subject] != s
	})
}

// findings is how often a study found the entrance of a head, for an order of studies: one that read the head
// and wrote none down found it once, and comes after another that wrote it down; one that read nothing there comes last.
func findings(s *study.Study, head string) float64 {
	n := 0.0
	read := slices.ContainsFunc(s.Seatings, func(r study.Seating) bool { return r.Subject == head && r.Read != nil })
	for _, r := range s.Readings {
		switch {
		case r.Subject != head:
		case r.Model == "":
			n++
		default:
			read = true
		}
	}
	switch {
	case n > 0:
		return n
	case read:
		return 1.5
	}
	return math.Inf(1)
}

// once are the rows of readings.csv of all studies. One that an earlier study holds
// too, figure for figure, is a copy of it: two studies may share a placement, or have
// taken over where an entrance was found.
func once(parts []*study.Study, rows func(*study.Study) []study.ReadingRow) (out []study.ReadingRow) {
	for _, s := range parts {
		before := slices.Clone(out)
		for _, r := range rows(s) {
			same := func(o study.ReadingRow) bool { o.Row = r.Row; return o == r }
			if i := slices.IndexFunc(before, same); i >= 0 {
				before = slices.Delete(before, i, i+1)
				continue
			}
			out = append(out, r)
		}
	}
	return out
}
