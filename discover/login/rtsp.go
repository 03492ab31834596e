package login

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/textproto"
	"strconv"
	"strings"
)

// rtspAnswer is a response of RFC 2326 or RFC 7826.
type rtspAnswer struct {
	status int
	header textproto.MIMEHeader
	body   []byte
}

var errNotRTSP = errors.New("not an RTSP response")

// readRTSP reads one response. A body that has no Content-Length is left out.
func readRTSP(r *bufio.Reader) (rtspAnswer, error) {
	t := textproto.NewReader(r)
	line, err := t.ReadLine()
	if err != nil {
		return rtspAnswer{}, err
	}
	version, rest, _ := strings.Cut(line, " ")
	code, _, _ := strings.Cut(rest, " ")
	status, err := strconv.Atoi(code)
	if !strings.HasPrefix(version, "RTSP/") || err != nil || len(code) != 3 || status < 100 {
		return rtspAnswer{}, errNotRTSP
	}
	a := rtspAnswer{status: status}
	if a.header, err = t.ReadMIMEHeader(); err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return a, err
	}
	length := strings.TrimSpace(a.header.Get("Content-Length"))
	if length == "" {
		return a, nil
	}
	n, err := strconv.ParseUint(length, 10, 63)
	if err != nil {
		return a, errNotRTSP
	}
	a.body, err = io.ReadAll(io.LimitReader(r, int64(min(n, mostBody))))
	if err == nil && uint64(len(a.body)) < min(n, mostBody) {
		err = io.ErrUnexpectedEOF
	}
	return a, err
}

// rtspConn is one connection and its count of requests.
type rtspConn struct {
	net.Conn
	r   *bufio.Reader
	seq int
}

func (a *attempt) dialRTSP(ctx context.Context) (*rtspConn, error) {
	c, err := a.connect(ctx, a.target)
	if err != nil {
		return nil, err
	}
	if !a.account.TLS {
		return &rtspConn{Conn: c, r: bufio.NewReader(c)}, nil
	}
	t, err := a.secure(ctx, c)
	if err != nil {
		return nil, err
	}
	return &rtspConn{Conn: t, r: bufio.NewReader(t)}, nil
}

// describe asks for the stream's description, which changes nothing and starts nothing.
func (c *rtspConn) describe(url, authorization string) (rtspAnswer, error) {
	c.seq++
	q := fmt.Sprintf("DESCRIBE %s RTSP/1.0\r\nCSeq: %d\r\nAccept: application/sdp\r\nUser-Agent: boundwalk\r\n", url, c.seq)
	if authorization != "" {
		q += "Authorization: " + authorization + "\r\n"
	}
	if _, err := io.WriteString(c, q+"\r\n"); err != nil {
		return rtspAnswer{}, err
	}
	answer, err := readRTSP(c.r)
	if err == nil && strings.TrimSpace(answer.header.Get("Cseq")) != strconv.Itoa(c.seq) {
		return answer, errNotRTSP
	}
	return answer, err
}

// rtsp tries Basic or Digest on a stream. Both requests go over one connection
// where the device keeps it, since some tie the nonce to it (common practice).
func (a *attempt) rtsp(ctx context.Context, user string, password Secret) verdict {
	scheme := "rtsp://"
	if a.account.TLS {
		scheme = "rtsps://"
	}
	url := scheme + netip.AddrPortFrom(a.target.Addr().WithZone(""), a.target.Port()).String() + a.account.path()
	c, err := a.dialRTSP(ctx)
	if err != nil {
		return a.unanswered(err, false)
	}
	defer func() { c.Close() }()
	look, err := c.describe(url, "")
	if err != nil {
		return a.unanswered(err, false)
	}
	if v := lookedRTSP(look); v.outcome != "" {
		return v
	}
	offer, err := choose(a.account.Over, parseChallenges(look.header["Www-Authenticate"]))
	if err != nil {
		return cannotTell(err.Error())
	}
	a.result.Scheme = offer.name()
	field, err := offer.authorize("DESCRIBE", url, user, password.Reveal(), "", "")
	if err != nil {
		return cannotTell(err.Error())
	}
	if strings.EqualFold(strings.TrimSpace(look.header.Get("Connection")), "close") {
		c.Close()
		again, err := a.dialRTSP(ctx)
		if err != nil {
			return a.unanswered(err, false)
		}
		c = again
	}
	a.result.Sent++
	answer, err := c.describe(url, field)
	if err != nil {
		return a.unanswered(err, true)
	}
	return judgeRTSP(look, answer)
}

const notEnoughBandwidth = 453 // RFC 2326, section 7.1.1; sent by devices that limit logins (common practice)

func lookedRTSP(look rtspAnswer) verdict {
	switch {
	case look.status == http.StatusOK && isSDP(look.body):
		v := cannotTell("shows its stream without a login")
		v.open = true
		return v
	case look.status == notEnoughBandwidth:
		return locked("status 453 before any login")
	case lockSign(look.status, look.body, nil) != "":
		return locked(lockSign(look.status, look.body, nil) + ", before any login")
	case look.status != http.StatusUnauthorized:
		return shownWithout(look.status)
	}
	return verdict{}
}

func judgeRTSP(look, answer rtspAnswer) verdict {
	v := verdict{read: true}
	if sign := lockSign(answer.status, answer.body, look.body); sign != "" {
		return locked(sign)
	}
	switch answer.status {
	case http.StatusForbidden, notEnoughBandwidth:
		return locked(fmt.Sprintf("status %d in answer to the login", answer.status))
	case http.StatusUnauthorized:
		v.outcome = Refused
		if stale(parseChallenges(answer.header["Www-Authenticate"])) {
			v.outcome, v.reason = CannotTell, "it calls its own nonce too old"
		}
	case http.StatusOK:
		v.outcome = Accepted
		if !isSDP(answer.body) {
			v.outcome, v.reason = CannotTell, "takes the login, but shows no stream"
		}
	default:
		v.outcome, v.reason = CannotTell, fmt.Sprintf("answers the login with status %d", answer.status)
	}
	return v
}

// isSDP: a description begins with its version, RFC 8866 section 5.1.
func isSDP(body []byte) bool {
	return bytes.HasPrefix(bytes.TrimLeft(body, "\r\n "), []byte("v=0"))
}
