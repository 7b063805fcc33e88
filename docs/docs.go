// Package docs holds pages of the documentation that the program also shows.
package docs

import _ "embed"

//go:embed cautions.md
var cautions string

// Cautions returns the page for sessions with listeners, in Markdown.
func Cautions() string { return cautions }
