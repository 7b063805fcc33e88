package pipeline

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"slices"

	"asworn/report/table"

	"github.com/google/renameio/v2/maybe"
)

// writeFile writes a file whole or not at all: to a temporary file in the same
// folder, then rename. Folders that are missing are made.
func writeFile(name string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	return maybe.WriteFile(name, content, 0o666)
}

// render writes what f produces to a file, whole or not at all.
func render(name string, f func(io.Writer) error) error {
	var b bytes.Buffer
	if err := f(&b); err != nil {
		return err
	}
	return writeFile(name, b.Bytes())
}

// writeTables writes every table as CSV and all of them as one Markdown page.
// CSV files of tables that the results no longer have are removed.
func writeTables(dir string, tables []table.Table) error {
	var names []string
	for _, t := range tables {
		name := t.Name + ".csv"
		names = append(names, name)
		if err := render(filepath.Join(dir, "tables", name), t.WriteCSV); err != nil {
			return err
		}
	}
	old, err := filepath.Glob(filepath.Join(dir, "tables", "*.csv"))
	if err != nil {
		return err
	}
	for _, file := range old {
		if !slices.Contains(names, filepath.Base(file)) {
			if err := os.Remove(file); err != nil {
				return err
			}
		}
	}
	return render(filepath.Join(dir, "tables.md"), func(w io.Writer) error {
		for _, t := range tables {
			if err := t.WriteMarkdown(w); err != nil {
				return err
			}
		}
		return nil
	})
}
