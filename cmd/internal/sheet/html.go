package sheet

import (
	_ "embed"
	"html/template"
	"io"
)

//go:embed sheet.html
var page string

var pageTemplate = template.Must(template.New("sheet").Parse(page))

// HTML writes the sheet as one page to look at and to print, with nothing to fetch.
func (s Sheet) HTML(w io.Writer) error {
	return pageTemplate.Execute(w, struct {
		Sheet
		Made, Confidential string
	}{s, s.madeWords(), confidential})
}
