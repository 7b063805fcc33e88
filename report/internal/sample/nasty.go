package sample

import (
	"strings"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/panel"
	"asworn/report"
)

// Nasty are texts that do harm where they are not escaped.
var Nasty = []string{
	`<script>window.harm=1</script>`, `"><img src=x onerror="window.harm=1">`, `</script><script>window.harm=1</script>`,
	`</title><script>window.harm=1</script>`, `' onmouseover='window.harm=1`, `{{.}}`, `javascript:window.harm=1`, `]]><svg onload=window.harm=1>`,
	`=cmd|'/c calc'!A1`, `+1+1`, `-2+3`, `@SUM(A1:A9)`, "\t=1+1", "\r=1", `|a|b|`, "two\nlines", "\x1b[31mred\x07", `<!--`, "\u202egnp.exe",
}

// NastyResults puts them wherever a study holds free text.
func NastyResults() report.Results {
	r := Results()
	pick := func(i int) string { return Nasty[i%len(Nasty)] }
	all := strings.Join(Nasty, " ")
	r.Title, r.Fixture, r.Coupler, r.LevelUnit = all, pick(1), pick(2), `dB <b>`
	rename := map[string]string{}
	for i := range r.Recordings {
		rec := &r.Recordings[i]
		to := pick(i) + rec.File
		rename[rec.File] = to
		rec.File, rec.Notes, rec.Seal, rec.Unit = to, pick(i+1), pick(i+2), pick(i+3)
		if !rec.OnFixture() {
			rec.Subject = pick(i/5) + rec.Subject
		}
		for k := range rec.Findings {
			f := &rec.Findings[k]
			f.Message, f.Mend, f.Channel = pick(i), pick(i+1), pick(i+4)
		}
	}
	for i := range r.Analysis.Models {
		m := &r.Analysis.Models[i]
		old := m.Model
		m.Model = pick(i) + old
		for k := range r.Recordings {
			if r.Recordings[k].Model == old {
				r.Recordings[k].Model = m.Model
			}
		}
		for k := range m.Offsets {
			o := &m.Offsets[k]
			o.ID = rename[o.ID]
			if o.Subject != capture.FixtureSubject {
				o.Subject = pick(k) + o.Subject
			}
		}
		for k := range m.Verdicts {
			v := &m.Verdicts[k]
			v.ID, v.Settle = rename[v.ID], nil
			for _, n := range Nasty {
				v.Settle = append(v.Settle, fitcorr.Remedy{Do: n})
			}
			for n := range v.Nearest {
				v.Nearest[n].ID = rename[v.Nearest[n].ID]
			}
		}
		for k := range m.Corrections {
			m.Corrections[k].ID, m.Corrections[k].Withheld = rename[m.Corrections[k].ID], pick(k)
		}
		m.Cannot = Nasty
		for _, n := range Nasty {
			m.Worn.Separation = append(m.Worn.Separation, panel.Separation(n))
		}
		m.Survey[0].Warnings, m.Survey[0].Method = Nasty, all
	}
	for i := range r.Analysis.StandOuts {
		s := &r.Analysis.StandOuts[i]
		s.ID, s.Group = rename[s.ID], all
	}
	r.Analysis.Cannot, r.Findings = Nasty, Nasty
	return r
}
