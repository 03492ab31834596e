package mail_test

import (
	"net"
	"strings"
	"testing"

	"boundwalk/cmd/internal/mail"
)

// Whatever a server says, a mail counts as sent only by its 250, and no byte of
// it can end a line of the log.
func FuzzServer(f *testing.F) {
	for _, seed := range []string{
		"", "220 hi\r\n250 hello\r\n250 ok\r\n250 ok\r\n354 go\r\n250 taken\r\n221 bye\r\n", "220-a\r\n220 b\r\n502 no\r\n550 no\r\n",
		"220 hi\r\n250-x\r\n250-AUTH\r\n250 \r\n421 4.3.2 closing\r\n", "\xff\xfe\x00\r\n", "999 x\r\n", "220\r\n2500 x\r\n", "-1 x\r\n",
	} {
		f.Add([]byte(seed))
	}
	said := make(chan []byte, 1)
	cfg := script(f, func(c *scripted) {
		c.Write(<-said)
		c.Conn.(*net.TCPConn).CloseWrite()
		c.drain()
	})
	f.Fuzz(func(t *testing.T, replies []byte) {
		said <- replies
		receipt, err := mail.Send(t.Context(), cfg, digest())
		if err == nil && !strings.HasPrefix(receipt.ServerWords, "250") {
			t.Fatalf("sent, with %q", receipt.ServerWords)
		}
		if err != nil && strings.ContainsAny(err.Error(), "\r\n\x00\x1b") {
			t.Fatalf("error %q", err)
		}
	})
}
