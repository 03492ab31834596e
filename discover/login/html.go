package login

import (
	"bytes"
	"strings"

	"golang.org/x/net/html"
)

const (
	mostForms  = 32
	mostHidden = 32
)

// pageForm is a form of a page, or what stands outside all forms.
type pageForm struct {
	passwords int               // password fields
	hidden    map[string]string // hidden fields, by name
}

// pageForms finds the forms of a page. It reads on through bad HTML, as the
// tokenizer does.
func pageForms(body []byte) []pageForm {
	forms := []pageForm{{}}
	z := html.NewTokenizer(bytes.NewReader(body))
	z.SetMaxBuf(mostBody)
	in := 0 // the form being read; 0: none
	for {
		switch z.Next() {
		case html.ErrorToken:
			return forms
		case html.EndTagToken:
			if name, _ := z.TagName(); string(name) == "form" {
				in = 0
			}
		case html.StartTagToken, html.SelfClosingTagToken:
			switch t := z.Token(); t.Data {
			case "form":
				if len(forms) >= mostForms {
					return forms
				}
				forms = append(forms, pageForm{})
				in = len(forms) - 1
			case "input":
				forms[in].input(t.Attr)
			}
		}
	}
}

func (f *pageForm) input(attrs []html.Attribute) {
	var kind, name, value string
	for _, at := range attrs {
		switch at.Key {
		case "type":
			kind = strings.ToLower(strings.TrimSpace(at.Val))
		case "name":
			name = at.Val
		case "value":
			value = at.Val
		}
	}
	switch {
	case kind == "password":
		f.passwords++
	case kind == "hidden" && name != "" && len(f.hidden) < mostHidden:
		if f.hidden == nil {
			f.hidden = map[string]string{}
		}
		f.hidden[name] = value
	}
}

// asksForFirstPassword: the plan's sign, or else a page on which a password is
// only ever asked for twice, as one who sets it must (common practice); a login asks once, a change of
// password three times.
func (a *attempt) asksForFirstPassword(p page) bool {
	if a.account.SetupSign != "" {
		return bytes.Contains(p.body, []byte(a.account.SetupSign))
	}
	if p.status >= 300 {
		return false
	}
	twice := false
	for _, f := range pageForms(p.body) {
		switch f.passwords {
		case 0:
		case 2:
			twice = true
		default:
			return false
		}
	}
	return twice
}

// hiddenFields is the hidden fields of the first form that asks for one
// password: tokens against forged requests stand there.
func hiddenFields(body []byte) map[string]string {
	for _, f := range pageForms(body) {
		if f.passwords == 1 {
			return f.hidden
		}
	}
	return nil
}
