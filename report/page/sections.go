package page

import (
	"crypto/sha256"
	"encoding/base64"
	"slices"

	"asworn/report/figure"
	"asworn/report/table"
	"asworn/report/view"
)

type pageSection struct {
	ID           figure.Section
	Title, Intro string
	Print        bool // printed though it is folded
	Blocks       []pageBlock
}

type pageBlock struct {
	Title   string
	Sheets  []pageSheet
	Figures []pageFigure
	Views   []string // of the figures, when they are shown by turns
	Tables  []table.Table
	Fold    bool // the tables are long: closed at first
	Open    bool // at first
	Print   bool // printed though it is folded
	Number  int  // of the block, for names
}

type pageSheet struct {
	view.Sheet
	Curve *pageFigure
}

type pageFigure struct {
	figure.Figure
	Index int // in frame.Data
	Turn  int // which of the block's views it is
}

// LastBand is the index of the highest frequency, StartBand that nearest 1 kHz.
func (f pageFigure) LastBand() int { return len(f.Curves.Hz) - 1 }

// StartBand is where the page's cursor begins.
func (f pageFigure) StartBand() int {
	for i, hz := range f.Curves.Hz {
		if hz >= 990 {
			return i
		}
	}
	return 0
}

// links says where links lead.
type links struct {
	sheets map[string]bool // seatings with a sheet of their own
	csv    map[string]bool // tables with a file beside the page
	tables string          // folder of those files, with its slash
}

// to is the place that speaks of a seating: its sheet, else its row in the list of recordings.
func (l links) to(key string) string {
	if l.sheets[key] {
		return "v" + anchor(key)
	}
	return anchor(key)
}

type pageBuilder struct {
	figures  []figure.Figure
	sections []pageSection
	data     []figureData
	made     int
}

// section adds a section unless all its blocks are empty.
func (p *pageBuilder) section(id figure.Section, title, intro string, print bool, blocks ...pageBlock) {
	s := pageSection{ID: id, Title: title, Intro: intro, Print: print}
	for _, b := range blocks {
		b.Print = print && id != figure.SectionSensitivity || b.Title == "" // of fit sensitivity the figures side by side alone
		if len(b.Figures)+len(b.Tables)+len(b.Sheets) > 0 {
			s.Blocks = append(s.Blocks, b)
		}
	}
	if len(s.Blocks) > 0 {
		p.sections = append(p.sections, s)
	}
}

// blocks makes one block per model of a section's figures, the first of them open.
func (p *pageBuilder) blocks(section figure.Section) []pageBlock {
	var out []pageBlock
	for _, f := range p.figures {
		if f.Section != section {
			continue
		}
		if len(out) == 0 || out[len(out)-1].Title != f.Model {
			out = append(out, p.block(f.Model, len(out) == 0))
		}
		b := &out[len(out)-1]
		fig := pageFigure{Figure: f, Index: len(p.data)}
		if f.View != "" {
			if fig.Turn = slices.Index(b.Views, f.View); fig.Turn < 0 {
				fig.Turn = len(b.Views)
				b.Views = append(b.Views, f.View)
			}
		}
		b.Figures = append(b.Figures, fig)
		p.data = append(p.data, dataOf(f))
	}
	return out
}

func (p *pageBuilder) block(title string, open bool) pageBlock {
	p.made++
	return pageBlock{Title: title, Open: open, Number: p.made}
}

// sheets makes one block per model of its fixture seatings.
func (p *pageBuilder) sheets(r *view.View, l *links) []pageBlock {
	var out []pageBlock
	for _, s := range r.Sheets() {
		if len(out) == 0 || out[len(out)-1].Title != s.Model {
			out = append(out, p.block(s.Model, true))
		}
		sheet := pageSheet{Sheet: s}
		if s.Curves != nil {
			s.Curves.Name = "c" + anchor(s.Key)
			sheet.Curve = &pageFigure{Figure: *s.Curves}
		}
		l.sheets[s.Key] = true
		b := &out[len(out)-1]
		b.Sheets = append(b.Sheets, sheet)
	}
	return out
}

func tables(fold bool, ts ...table.Table) pageBlock {
	b := pageBlock{Fold: fold}
	for _, t := range ts {
		if !t.Empty() {
			b.Tables = append(b.Tables, t)
		}
	}
	return b
}

// anchor is the place of a seating on the page: a file name is anything, an id
// must hold no space.
func anchor(key string) string {
	sum := sha256.Sum256([]byte(key))
	return "s-" + base64.RawURLEncoding.EncodeToString(sum[:9])
}
