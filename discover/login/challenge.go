package login

import (
	"crypto/md5"
	"crypto/rand"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"hash"
	"io"
	"strconv"
	"strings"

	"github.com/icholy/digest"
)

// challenge is one offer of a WWW-Authenticate field (RFC 9110, section 11.6.1).
type challenge struct {
	scheme string            // lower case
	params map[string]string // names in lower case; the first of a name counts
}

const mostChallenges = 16

// parseChallenges reads fields as devices write them: several offers in a field,
// names in any case, stray commas. What it cannot read it leaves out. The
// digest library reads one offer a field and stops at its first oddity.
func parseChallenges(fields []string) []challenge {
	var all []challenge
	for _, f := range fields {
		var params map[string]string // of the offer being read; nil: none yet
		for s := strings.TrimLeft(f, " \t,"); s != "" && len(all) < mostChallenges; s = strings.TrimLeft(s, " \t,") {
			name, rest := token(s)
			if name == "" {
				break // no token where one must be: the rest of the field is lost
			}
			s = strings.TrimLeft(rest, " \t")
			name = strings.ToLower(name)
			if v, ok := strings.CutPrefix(s, "="); ok && params != nil {
				var value string
				value, s = paramValue(strings.TrimLeft(v, " \t"))
				if _, twice := params[name]; !twice {
					params[name] = value
				}
				continue
			}
			params = map[string]string{}
			all = append(all, challenge{name, params})
		}
	}
	return all
}

func token(s string) (tok, rest string) {
	i := strings.IndexFunc(s, func(r rune) bool { return r <= ' ' || r >= 0x7f || strings.ContainsRune(`",=;()<>@:\[]?{}`, r) })
	if i < 0 {
		return s, ""
	}
	return s[:i], s[i:]
}

// paramValue reads a quoted string, or what stands before the next comma or blank.
func paramValue(s string) (value, rest string) {
	if !strings.HasPrefix(s, `"`) {
		i := strings.IndexAny(s, ", \t")
		if i < 0 {
			return s, ""
		}
		return s[:i], s[i:]
	}
	var b strings.Builder
	for i := 1; i < len(s); i++ {
		switch s[i] {
		case '\\':
			if i++; i < len(s) {
				b.WriteByte(s[i])
			}
		case '"':
			return b.String(), s[i+1:]
		default:
			b.WriteByte(s[i])
		}
	}
	return b.String(), ""
}

var errNoScheme = errors.New("asks for a login in a way that is not known here")

// choose picks the strongest offer that Over allows: Digest by its hash, then
// Basic. Where Digest is offered in a form not known here, Basic is not used
// instead: the stronger offer stands.
func choose(over Over, offers []challenge) (challenge, error) {
	best, rank := challenge{}, -1
	digestOffered := false
	for _, c := range offers {
		r := -1
		switch {
		case c.scheme == "basic" && over != OverHTTPDigest:
			r = 0
		case c.scheme == "digest" && over != OverHTTPBasic:
			digestOffered = true
			r = c.rank()
		}
		if r > rank {
			best, rank = c, r
		}
	}
	if rank < 0 || rank == 0 && digestOffered {
		return challenge{}, errNoScheme
	}
	return best, nil
}

// rank orders Digest offers, RFC 7616 section 3.7; -1 is one that cannot be answered.
func (c challenge) rank() int {
	if c.params["nonce"] == "" {
		return -1
	}
	for _, name := range []string{"realm", "nonce", "opaque"} {
		if !quotable(c.params[name]) {
			return -1
		}
	}
	base, session := c.algorithm()
	if c.qop() == nil && (session || c.params["qop"] != "") {
		return -1 // without qop there is no cnonce, which a session's hash needs
	}
	switch base {
	case "MD5":
		return 1
	case "SHA-256":
		return 2
	case "SHA-512-256":
		return 3
	}
	return -1
}

// quotable reports whether the library writes s back as RFC 9110 quotes it.
func quotable(s string) bool {
	return strconv.Quote(s) == `"`+strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s)+`"`
}

// algorithm is the hash in upper case, and whether it is a session's.
func (c challenge) algorithm() (base string, session bool) {
	name := c.params["algorithm"]
	if name == "" {
		return "MD5", false // RFC 7616, section 3.3
	}
	if strings.ContainsFunc(name, func(r rune) bool { return r > '~' }) {
		return "", false // some letters become ASCII in upper case
	}
	return strings.CutSuffix(strings.ToUpper(name), "-SESS")
}

// qop is the values known here, nil where none is.
func (c challenge) qop() []string {
	var known []string
	for q := range strings.SplitSeq(c.params["qop"], ",") {
		if q = strings.ToLower(strings.TrimSpace(q)); q == "auth" || q == "auth-int" {
			known = append(known, q)
		}
	}
	return known
}

// name is the scheme for people.
func (c challenge) name() string {
	if c.scheme != "digest" {
		return c.scheme
	}
	base, session := c.algorithm()
	if session {
		base += "-sess"
	}
	return "digest-" + strings.ToLower(base)
}

// authorize is the Authorization field that answers c. body is the request's, for
// auth-int; cnonce is made up where it is empty.
func (c challenge) authorize(method, uri, user, password, cnonce, body string) (string, error) {
	if c.scheme == "basic" {
		return "Basic " + base64.StdEncoding.EncodeToString([]byte(user+":"+password)), nil
	}
	if cnonce == "" {
		cnonce = rand.Text()
	}
	base, session := c.algorithm()
	offer := &digest.Challenge{
		Realm: c.params["realm"], Nonce: c.params["nonce"], Opaque: c.params["opaque"],
		Algorithm: base, QOP: c.qop(), Userhash: strings.EqualFold(c.params["userhash"], "true"),
	}
	o := digest.Options{
		Method: method, URI: uri, Username: user, Password: password, Cnonce: cnonce,
		GetBody: func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(body)), nil },
	}
	if session { // the library has no -sess, but takes its A1
		o.A1 = joinHash(base, joinHash(base, user, offer.Realm, password), offer.Nonce, cnonce)
	}
	cred, err := digest.Digest(offer, o)
	if err != nil {
		return "", errNoScheme
	}
	cred.Algorithm = c.params["algorithm"] // as the device wrote it, or left out
	return cred.String(), nil
}

func joinHash(algorithm string, parts ...string) string {
	var h hash.Hash
	switch algorithm {
	case "SHA-256":
		h = sha256.New()
	case "SHA-512-256":
		h = sha512.New512_256()
	default:
		h = md5.New()
	}
	io.WriteString(h, strings.Join(parts, ":"))
	return hex.EncodeToString(h.Sum(nil))
}

// stale reports that the device calls its own nonce too old. That says nothing
// about the password: RFC 7616, section 3.3, does not ask the device to check
// the digest first.
func stale(offers []challenge) bool {
	for _, c := range offers {
		if c.scheme == "digest" && strings.EqualFold(c.params["stale"], "true") {
			return true
		}
	}
	return false
}
