package docs

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
)

const root = ".."

// page is what a link can lead from and to.
type page struct {
	links   []string
	anchors map[string]bool
}

func readPage(t *testing.T, path string) page {
	t.Helper()
	source, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	p := page{anchors: map[string]bool{}}
	markdown := goldmark.New(goldmark.WithParserOptions(parser.WithAutoHeadingID()))
	tree := markdown.Parser().Parse(text.NewReader(source))
	err = ast.Walk(tree, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n := n.(type) {
		case *ast.Heading:
			if id, ok := n.AttributeString("id"); ok {
				p.anchors[string(id.([]byte))] = true
			}
		case *ast.Link:
			p.links = append(p.links, string(n.Destination))
		case *ast.Image:
			p.links = append(p.links, string(n.Destination))
		}
		return ast.WalkContinue, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Every relative link of the README and the pages leads to a file that is
// there, and to a heading that it has.
func TestLinks(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(root, "*.md"))
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if filepath.Ext(path) == ".md" {
			files = append(files, path)
		}
		return err
	})
	if err != nil || len(files) < 20 {
		t.Fatalf("%d pages, %v", len(files), err)
	}
	seen := 0
	for _, file := range files {
		for _, link := range readPage(t, file).links {
			if strings.Contains(link, "://") || strings.HasPrefix(link, "mailto:") {
				continue
			}
			seen++
			to, anchor, _ := strings.Cut(link, "#")
			target := file
			if to != "" {
				target = filepath.Join(filepath.Dir(file), filepath.FromSlash(to))
			}
			if _, err := os.Stat(target); err != nil {
				t.Errorf("%s: the link %s leads nowhere", file, link)
				continue
			}
			if anchor != "" && !readPage(t, target).anchors[anchor] {
				t.Errorf("%s: %s has no heading #%s", file, target, anchor)
			}
		}
	}
	if seen < 20 {
		t.Errorf("%d links found: are they still read?", seen)
	}
}

// mention is a page named in a comment, a message or a script.
var mention = regexp.MustCompile(`docs/[\w./-]+\.md`)

// What the sources and the pages call docs/….md is there.
func TestMentions(t *testing.T) {
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == ".git":
			return filepath.SkipDir
		}
		switch filepath.Ext(path) {
		case ".go", ".md", ".py", ".R", ".sh", ".toml", ".txtar":
		default:
			return nil
		}
		source, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, name := range mention.FindAllString(string(source), -1) {
			seen++
			if _, err := os.Stat(filepath.Join(root, filepath.FromSlash(name))); err != nil {
				t.Errorf("%s names %s, which is not there", path, name)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 50 {
		t.Errorf("%d mentions found: are they still read?", seen)
	}
}

// The page for sessions with listeners is the one beside this file.
func TestCautions(t *testing.T) {
	source, err := os.ReadFile("cautions.md")
	if err != nil || Cautions() != string(source) || !strings.HasPrefix(Cautions(), "# ") {
		t.Errorf("embedded: %q, %v", Cautions(), err)
	}
}
