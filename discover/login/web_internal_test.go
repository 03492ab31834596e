package login

import (
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"testing"
	"testing/synctest"
)

// net/http reads a new connection at once, and logs what comes before it asked.
// So nothing is read before something was written.
func TestNothingIsReadUnasked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		here, there := net.Pipe()
		a := attempt{
			target: netip.MustParseAddrPort("10.20.0.131:80"), result: &Result{},
			dial: func(context.Context, string, string) (net.Conn, error) { return here, nil },
		}
		c, err := a.web(t.Context()).rt.DialContext(t.Context(), "tcp", "10.20.0.131:80")
		if err != nil {
			t.Fatal(err)
		}
		read := make(chan error, 1)
		go func() {
			_, err := c.Read(make([]byte, 1))
			read <- err
		}()
		go there.Write([]byte("x"))
		synctest.Wait()
		select {
		case <-read:
			t.Error("read before anything was asked")
		default:
		}
		go there.Read(make([]byte, 1))
		if _, err := c.Write([]byte("?")); err != nil {
			t.Fatal(err)
		}
		if err := <-read; err != nil {
			t.Error(err)
		}
		c.Close()
		there.Close()
	})
}

func TestConnections(t *testing.T) {
	t.Run("closing frees the reader", func(t *testing.T) {
		here, there := net.Pipe()
		defer there.Close()
		c := listenAfterTalk(here)
		read := make(chan error, 1)
		go func() {
			_, err := c.Read(make([]byte, 1))
			read <- err
		}()
		c.Close()
		if <-read == nil {
			t.Error("a read from a closed connection")
		}
	})
	t.Run("over TLS as well", func(t *testing.T) {
		s := httptest.NewTLSServer(http.NotFoundHandler())
		defer s.Close()
		at := s.Listener.Addr().String()
		a := attempt{target: netip.MustParseAddrPort(at), result: &Result{}, dial: (&net.Dialer{}).DialContext}
		c, err := a.web(t.Context()).rt.DialTLSContext(t.Context(), "tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if _, ok := c.(*politeConn); !ok {
			t.Errorf("%T reads at once", c)
		}
	})
	t.Run("and from no other host", func(t *testing.T) {
		a := attempt{target: netip.MustParseAddrPort("10.20.0.131:80"), result: &Result{}}
		for _, to := range []string{"10.20.0.132:80", "slip-cam:80", "[::ffff:10.20.0.131]:80"} {
			if _, err := a.web(t.Context()).rt.DialContext(t.Context(), "tcp", to); err != errElsewhere {
				t.Errorf("dial to %s: %v", to, err)
			}
		}
	})
}
