package report

import (
	"encoding/json"
	"fmt"
	"io"
)

// Schema names the layout of the JSON export (docs/report.md). Fields may be
// added under the same name; a change of meaning gets a new one.
const Schema = "asworn-results-2"

// WriteJSON writes r as one line of JSON with a line end. The same value gives
// the same bytes. NaN and infinities have no place in JSON: the error names
// the field that holds one, and nothing is written.
func WriteJSON(w io.Writer, r Results) error {
	r.Schema = Schema
	if where := NotFinite(r); where != "" {
		return fmt.Errorf("results cannot be written as JSON: %s is not a finite number", where)
	}
	if err := json.NewEncoder(w).Encode(r); err != nil { // which writes once, when all is encoded
		return fmt.Errorf("results cannot be written as JSON: %w", err)
	}
	return nil
}

// ReadJSON reads what WriteJSON wrote. Fields it does not know are skipped, so
// that an older program reads a newer file of the same schema.
func ReadJSON(rd io.Reader) (Results, error) {
	var r Results
	if err := json.NewDecoder(rd).Decode(&r); err != nil {
		return Results{}, fmt.Errorf("not a results file: %w; run the study again to write it anew", err)
	}
	if r.Schema != Schema {
		return Results{}, fmt.Errorf("results of schema %q, this program reads %q; run the study again to write it anew", r.Schema, Schema)
	}
	if err := r.Options.Limits.Check(); err != nil {
		return Results{}, fmt.Errorf("results with %w; run the study again to write it anew", err)
	}
	return r, nil
}
