package bench

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/plan"
)

// addListener puts the rows of one more listener at the end of the plan: those of the
// listener who has most of them, in an order of their own (plan.Redrawn).
func (s *store) addListener(id string, st *capture.Study) error {
	if strings.ContainsAny(id, `/\:`) { // it becomes part of names of files
		return fmt.Errorf("listener %q: an id is letters and digits, as in L09", id)
	}
	like, most := "", 0
	count := map[string]int{}
	taken := slices.Clone(st.Elsewhere)
	rows := planRows(st)
	for _, r := range rows {
		taken = append(taken, r.File)
		if r.OnFixture() {
			continue
		}
		if strings.EqualFold(r.Subject, id) {
			return fmt.Errorf("listener %s has rows in %s already", r.Subject, capture.SheetFile)
		}
		if count[r.Subject]++; count[r.Subject] > most {
			like, most = r.Subject, count[r.Subject]
		}
	}
	if like == "" {
		return errors.New("no listener is in the plan whose rows could be taken for another: begin with 'asworn new --listeners'")
	}
	var theirs []capture.Seating
	for _, r := range rows {
		if r.Subject == like {
			theirs = append(theirs, r.Seating)
		}
	}
	return s.edit(func(t *study.SheetText) error {
		for _, one := range plan.Redrawn(theirs, id) {
			dir, name := path.Split(one.File)
			if name = strings.Replace(name, like, id, 1); !strings.Contains(name, id) {
				name = id + "-" + name
			}
			one.Subject, one.File, one.Read, one.Notes = id, dir+name, nil, ""
			if slices.ContainsFunc(taken, func(f string) bool { return strings.EqualFold(f, one.File) }) {
				return fmt.Errorf("listener %s: a row of the sheet has %s already", id, one.File)
			}
			if err := t.Add(one, ""); err != nil {
				return err
			}
		}
		return nil
	})
}
