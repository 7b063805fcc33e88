// Package earlier is what a study knows of its panel for studies that come after
// it, and what a later study takes from that: bare ears, where the entrances of
// canals were found, and how well its readers read. Whoever is not who he was is
// found and left out (docs/earlier-studies.md). It must not know files.
package earlier
