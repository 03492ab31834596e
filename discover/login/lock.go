package login

import (
	"bytes"
	"fmt"
	"net/http"
	"regexp"
)

// Words of a lock, in English; common practice, no standard names them. A page
// that is shown with status 200 may well hold the bare word "locked" in its
// scripts or labels, so there only whole phrases count.
var (
	lockPhrase = regexp.MustCompile(`(?i)\b(account|user|login|ip|address)( has been| is|:)? (temporarily )?(locked|blocked|disabled)\b|` +
		`\btoo many (failed |login |invalid |unsuccessful |wrong )*(attempts|tries|logins|failures|requests)\b|` +
		`\b(try|log in) again (later|in \d)|\btemporarily (locked|blocked|disabled|suspended)\b|\block(ed)?[ -]?out\b`)
	lockWord = regexp.MustCompile(`(?i)\blocked\b`)
)

// lockSign finds a sign of a lock in an answer, or gives "". before is the body of the
// answer without a login: what it held already is no sign.
func lockSign(status int, body, before []byte) string {
	switch status {
	case http.StatusLocked, http.StatusTooManyRequests:
		return fmt.Sprintf("status %d", status)
	}
	words := []*regexp.Regexp{lockPhrase}
	if status >= 300 {
		words = append(words, lockWord)
	}
	for _, w := range words {
		if found := w.Find(body); found != nil && !bytes.Contains(before, found) {
			return fmt.Sprintf("words of a lock, status %d", status)
		}
	}
	return ""
}
