// Package docs holds pages of the documentation that the program also shows.
package docs

import (
	_ "embed"
	"strings"
)

//go:embed cautions.md
var cautions string

// Cautions returns the page for sessions with listeners, in Markdown.
func Cautions() string { return cautions }

// PlainCautions returns that page as plain text.
func PlainCautions() string {
	page := strings.ReplaceAll(Cautions(), "**", "")
	return strings.ReplaceAll(strings.TrimPrefix(page, "# "), "`", "'")
}
