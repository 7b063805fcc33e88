package record

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"asworn/capture/study"
	"asworn/cmd/internal/bench"
	"asworn/cmd/internal/resultdir"
	"asworn/docs"
	"asworn/report"
	"asworn/report/page"
)

// Page drives a desk from a page; dir is the address whose last results it shows.
func Page(dir string, desk *bench.Desk) http.Handler {
	return page.Live{
		Latest: func() (report.Results, string, error) {
			r, err := resultdir.Last(dir)
			return r, "", err
		},
		Desk: func() page.Desk { return pageDesk(desk.Screen(), desk.Study().Limits.MaxOffsetMM) },
		Act:  func(do page.Deed, words string) error { return pageAct(desk, do, words) },
	}.Handler()
}

// pageDesk puts a screen into what the page shows.
func pageDesk(s bench.Screen, toleranceMM float64) page.Desk {
	d := page.Desk{Phase: s.Phase.String(), Next: s.Title, Message: s.Message, Safety: s.Safety,
		ToleranceMM: toleranceMM, Meters: []page.Meter{}, History: []page.Take{}, Buttons: []page.Button{}}
	if !s.One { // which has no end that a plan knows
		d.Left = leftWords(s.Left, s.Minutes)
	}
	if s.Phase == bench.Judging {
		d.Judging = s.Now
	}
	if s.Phase == bench.Caution {
		d.Cautions = docs.PlainCautions()
	}
	if s.Phase == bench.Ready && d.Message == "" {
		d.Message = recordedWords(s)
	}
	if s.From != "" {
		d.Safety = "files from " + s.From
		if s.Offer != "" {
			d.Message = strings.TrimSpace(d.Message + " " + offerWords(s) + ".")
		}
	}
	for _, p := range s.Peaks {
		d.Meters = append(d.Meters, page.Meter{Name: p.Channel, DB: 20 * math.Log10(math.Max(p.Value, 1e-6))})
	}
	for _, r := range s.History {
		d.History = append(d.History, pageTake(r))
	}
	if s.Phase == bench.Judged {
		t := pageTake(s.Result)
		keep := "keep"
		if !s.Result.Keep {
			keep = "again"
		}
		t.Word = keep + ": " + t.Word
		d.Take = &t
	}
	d.Buttons = pageButtons(s)
	return d
}

func pageTake(r bench.Result) page.Take {
	t := page.Take{File: r.File, Title: r.Title, Word: r.Word, Tone: r.Tone.String(), Do: r.Do, More: r.More,
		ForwardMM: r.ForwardMM, UpMM: r.UpMM, Placed: r.Placed}
	if t.Do == nil {
		t.Do = []string{}
	}
	if t.More == nil {
		t.More = []string{}
	}
	return t
}

// What the buttons of the page ask for.
const (
	doEnter     page.Deed = "enter"
	doConfirm   page.Deed = "confirm"
	doNext      page.Deed = "next"
	doAgain     page.Deed = "again"
	doBack      page.Deed = "back"
	doSkip      page.Deed = "skip"
	doRepeat    page.Deed = "repeat"
	doDrop      page.Deed = "drop"
	doOther     page.Deed = "other"
	doNote      page.Deed = "note"
	doRead      page.Deed = "read"
	doLevel     page.Deed = "level"
	doReadLevel page.Deed = "read-level"
	doUp        page.Deed = "up"
	doDown      page.Deed = "down"
)

// pageButtons are what can be asked for in a phase, by the keys of the terminal.
func pageButtons(s bench.Screen) []page.Button {
	enter := page.Button{Do: doEnter, Key: "Enter", Main: true}
	other := []page.Button{
		{Do: doBack, Label: "Back", Key: "b"}, {Do: doSkip, Label: "Skip", Key: "s"},
		{Do: doNote, Label: "Note", Key: "n", Ask: "Note for this row"},
		{Do: doRead, Label: "Reading", Key: "r", Ask: "Reading: forward and up in mm, as in -31.5 12"},
		{Do: doRepeat, Label: "One more seating", Key: "+"},
	}
	sound := []page.Button{
		{Do: doDrop, Label: "Drop row", Key: "x", Sure: "Take this row out of the plan?"},
		{Do: doLevel, Label: "Level check", Key: "l", Sure: "Is this headphone on the fixture, and does nobody wear it?"},
		{Do: doReadLevel, Label: "Level read", Key: "v", Ask: "Level read at the fixture's ear, dB(A)"},
		{Do: doUp, Label: "Gain +1 dB", Key: "k"}, {Do: doDown, Label: "Gain −1 dB", Key: "j"},
	}
	if s.From != "" {
		sound = []page.Button{{Do: doAgain, Label: "Undo the last file", Key: "u"}}
		if s.Offer != "" {
			sound = append(sound, page.Button{Do: doDrop, Label: "Leave this file out", Key: "x"})
		}
	}
	if s.Taps {
		without := page.Button{Do: doSkip, Label: "Go on without", Key: "s"}
		if s.Offer == "" {
			return []page.Button{without}
		}
		enter.Label = "Take this file"
		return []page.Button{enter, without, {Do: doDrop, Label: "Leave this file out", Key: "x"}}
	}
	if s.Phase != bench.Ready || s.Recorded { // which cannot be dropped
		sound = slices.DeleteFunc(sound, func(b page.Button) bool { return b.Do == doDrop && s.Offer == "" })
	}
	switch s.Phase {
	case bench.Playing:
		return []page.Button{{Do: doOther, Label: "STOP", Main: true}}
	case bench.Judging:
		return []page.Button{}
	case bench.Caution:
		return []page.Button{{Do: doConfirm, Label: "The listener and I have been through these cautions and our local rules", Key: "y", Main: true}, {Do: doBack, Label: "Back", Key: "b"}}
	case bench.Judged:
		enter.Label = "Next"
		if !s.Result.Keep {
			enter.Label = "Again"
			other = append([]page.Button{{Do: doNext, Label: "Keep as it is", Key: ">"}}, other...)
		} else if s.From == "" {
			other = append([]page.Button{{Do: doAgain, Label: "Again", Key: "a"}}, other...)
		}
	case bench.Ready:
		if s.Rejected {
			other = append([]page.Button{{Do: doNext, Label: "Leave as it is", Key: ">"}}, other...)
		}
		enter.Label = "Play and record"
		if s.From != "" {
			enter.Label = "Take this file"
			if s.Offer == "" {
				return append(other, sound...)
			}
		}
	case bench.Finished:
		return []page.Button{{Do: doBack, Label: "Back", Key: "b"}}
	}
	return append(append([]page.Button{enter}, other...), sound...)
}

// What the page asks for that is a key of the terminal.
var keys = map[page.Deed]bench.Key{doEnter: bench.Enter, doConfirm: bench.Confirm, doNext: bench.Next, doAgain: bench.Again, doBack: bench.Back,
	doSkip: bench.Skip, doRepeat: bench.Repeat, doDrop: bench.Drop, doOther: bench.Other}

// pageAct does what the page asks for.
func pageAct(desk *bench.Desk, do page.Deed, words string) error {
	if k, ok := keys[do]; ok {
		desk.Press(k)
		return nil
	}
	switch do {
	case doNote:
		desk.Note(words)
	case doRead:
		r, ok := study.ParseReading(words)
		if !ok {
			return errors.New("a reading is two numbers of mm, forward then up, as in -31.5 12")
		}
		desk.Read(r)
	case doLevel:
		desk.CheckLevel()
	case doReadLevel:
		db, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(words), ",", ".", 1), 64)
		if err != nil {
			return fmt.Errorf("%q is not a number of dB(A)", words)
		}
		desk.ReadLevel(db)
	case doUp:
		desk.SetGain(1)
	case doDown:
		desk.SetGain(-1)
	default:
		return fmt.Errorf("nobody knows what %q asks for", do)
	}
	return nil
}
