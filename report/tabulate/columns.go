package tabulate

import (
	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report/table"
)

// The columns that name a row in most tables.
var (
	modelColumn   = table.Column{Head: "Model", Key: "model", Repeat: true}
	earColumn     = table.Column{Head: "Ear", Key: "ear", Repeat: true}
	pointColumn   = table.Column{Head: "Point", Key: "point", Repeat: true}
	seatingColumn = table.Column{Head: "No.", Key: "seating", Kind: table.Number, Repeat: true}
)

// axisCell is one axis of an estimate with its interval, or a dash when the
// data say nothing about that axis.
func axisCell(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) table.Cell {
	if !e.Seen[a] {
		return table.None()
	}
	return table.PlusMinus(e.Value[a], e.Half(a, confidence))
}

// pointCell is a point as people call it; CSV holds it as the sheet does.
func pointCell(p capture.Point) table.Cell {
	return table.Cell{Text: p.Short(), Code: string(p)}
}
