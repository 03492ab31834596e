package login_test

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"boundwalk/discover/login"
)

// A real server with Basic, on loopback: once with the factory account and once changed.
// Its log counts what it saw.
func TestNginx(t *testing.T) {
	nginx, err := exec.LookPath("nginx")
	if err != nil {
		t.Skip("no nginx on this machine")
	}
	for pass, want := range map[string]login.Outcome{secret: login.Accepted, "changed": login.Refused} {
		dir := t.TempDir()
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		at := l.Addr().String()
		l.Close()
		write(t, dir, "users", user+":{PLAIN}"+pass+"\n")
		write(t, dir, "index.html", "settings")
		write(t, dir, "conf", fmt.Sprintf(`daemon off; master_process off; pid %[1]s/pid; error_log %[1]s/error;
events {}
http {
  log_format seen "$http_authorization"; access_log %[1]s/access seen;
  client_body_temp_path %[1]s/b; proxy_temp_path %[1]s/p; fastcgi_temp_path %[1]s/f; uwsgi_temp_path %[1]s/u; scgi_temp_path %[1]s/s;
  server { listen %[2]s; root %[1]s; auth_basic "Tern Quay"; auth_basic_user_file %[1]s/users; }
}`, dir, at))
		cmd := exec.Command(nginx, "-c", filepath.Join(dir, "conf"), "-e", filepath.Join(dir, "error"))
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { cmd.Process.Kill() }) // where it is not stopped below
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		if !listens(at, ended) {
			t.Skip("nginx did not start here")
		}
		r := check(t, at, account(login.OverHTTP))
		cmd.Process.Signal(os.Interrupt)
		<-ended
		seen, err := os.ReadFile(filepath.Join(dir, "access"))
		if err != nil {
			t.Fatal(err)
		}
		var counted atomic.Int32
		counted.Store(int32(strings.Count(string(seen), "Basic ")))
		expect(t, r, want, &counted, 1)
	}
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// listens waits until something accepts at that address; ended gets its value back.
func listens(at string, ended chan error) bool {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for range 500 {
		if c, err := net.DialTimeout("tcp", at, time.Second); err == nil {
			c.Close()
			return true
		}
		select {
		case err := <-ended:
			ended <- err
			return false
		case <-tick.C:
		}
	}
	return false
}
