// Package paper sets a report as a PDF, page by page: headings, paragraphs, tables
// that go on over pages with their head repeated, and charts drawn by the same code
// as those of pages. Nothing is cut off: what is too wide is broken, what is too long
// goes on overleaf. The same report gives the same bytes.
package paper
