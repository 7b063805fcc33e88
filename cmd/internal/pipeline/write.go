package pipeline

import (
	"bytes"
	"io"
	"os"
	"path/filepath"

	"asworn/capture/disk"
	"asworn/report/page"
	"asworn/report/view"
)

// writeFile writes a file whole or not at all. Folders that are missing are made.
func writeFile(name string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	return disk.WriteFile(name, content)
}

// render writes what f produces to a file, whole or not at all.
func render(name string, f func(io.Writer) error) error {
	var b bytes.Buffer
	if err := f(&b); err != nil {
		return err
	}
	return writeFile(name, b.Bytes())
}

// pages are the files for people: every table as CSV, all of them as one
// Markdown page, and the page.
func pages(v *view.View) ([]outFile, error) {
	var out []outFile
	var markdown, html bytes.Buffer
	for _, t := range v.Tables().All() {
		var csv bytes.Buffer
		if err := t.WriteCSV(&csv); err != nil {
			return nil, err
		}
		out = append(out, outFile{"tables/" + t.Name + ".csv", csv.Bytes()})
		if err := t.WriteMarkdown(&markdown); err != nil {
			return nil, err
		}
	}
	if err := page.Write(&html, v); err != nil {
		return nil, err
	}
	return append(out, outFile{"tables.md", markdown.Bytes()}, outFile{PageFile, html.Bytes()}), nil
}
