package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
	"boundwalk/store"
)

// Two secrets that must turn up nowhere: an account's, and a community's.
const (
	factoryPassword  = "tide-Table-7719"
	factoryCommunity = "slack-Water-2203"
)

// fakeCamera takes Basic, counts what carries a login, and is as hostile as can
// be with what it was told: it says it back.
type fakeCamera struct {
	takes string                            // the password that it takes
	onAsk func(r *http.Request, login bool) // called before it answers

	mu    sync.Mutex
	tries int
}

func (c *fakeCamera) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	_, p, login := r.BasicAuth()
	c.mu.Lock()
	if login {
		c.tries++
	}
	c.mu.Unlock()
	if c.onAsk != nil {
		c.onAsk(r, login)
	}
	if login && p == c.takes {
		fmt.Fprintf(w, "settings of %s", p)
		return
	}
	w.Header().Set("WWW-Authenticate", fmt.Sprintf("Basic realm=%q", "dome "+factoryPassword))
	w.WriteHeader(http.StatusUnauthorized)
	fmt.Fprintf(w, "%s is wrong", p)
}

func (c *fakeCamera) counted() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.tries
}

// loginSite is a plan on loopback with one camera, in a directory of its own.
func loginSite(t *testing.T, c http.Handler, policy, more string) (dir string) {
	t.Helper()
	server := httptest.NewServer(c)
	t.Cleanup(server.Close)
	dir = t.TempDir()
	plan := fmt.Sprintf(`site: {name: Tern Quay, timezone: Europe/Dublin}
networks:
  yard: {subnet: 127.0.0.0/29}
access:
  yard: {snmp: v2c, community: file:yard.community}
devices:
  slip-cam: {role: camera, address: 127.0.0.1, factory_login: {over: http, port: %d, user: admin, password: %s}}
%s
factory_logins: %s
sources: {mdns: false, ws_discovery: false, reverse_dns: false, echo: false, clocks: false, reach: false}
`, server.Listener.Addr().(*net.TCPAddr).Port, factoryPassword, more, policy)
	for name, text := range map[string]string{"plan.yaml": plan, "yard.community": "quaypass"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// program runs a command on the site in dir, and gives all that it said.
func program(t *testing.T, dir string, args ...string) string {
	t.Helper()
	var out bytes.Buffer
	code := run(t.Context(), append(args, "--plan", filepath.Join(dir, "plan.yaml")), strings.NewReader(""), &out, &out)
	if code == exitFailed || code == exitUsage {
		t.Errorf("boundwalk %s: exit %d: %s", strings.Join(args, " "), code, out.String())
	}
	return out.String()
}

// FC-24: what the plan's switch and a person's wish allow, at one camera, counted there.
func TestFC24LoginSwitch(t *testing.T) {
	const accepted, refused = "factory-login/slip-cam", "refused (checked"
	for _, c := range []struct {
		name, policy, takes string
		runs                [][]string
		tries               int
		says                string // by show logins or show findings
	}{
		{"on request, nobody asks", "on-request", factoryPassword, [][]string{{"run"}, {"run"}}, 0, "on request only"},
		{"on request", "on-request", factoryPassword, [][]string{{"run"}, {"run", "--logins"}, {"run", "--logins"}, {"run"}}, 1, accepted},
		{"on request, changed", "on-request", "changed", [][]string{{"run", "--logins"}, {"run", "--logins"}}, 1, refused},
		{"after change", "after-change", factoryPassword, [][]string{{"run"}, {"run"}, {"run", "--logins"}}, 1, accepted},
		{"after change, changed", "after-change", "changed", [][]string{{"run"}, {"run"}, {"run", "--logins"}}, 1, refused},
		{"off", "off", factoryPassword, [][]string{{"run"}}, 0, "factory_logins is off"},
	} {
		t.Run(c.name, func(t *testing.T) {
			cam := &fakeCamera{takes: c.takes}
			dir := loginSite(t, cam, c.policy, "")
			for _, args := range c.runs {
				program(t, dir, args...)
			}
			if n := cam.counted(); n != c.tries {
				t.Errorf("the camera counted %d logins, want %d", n, c.tries)
			}
			// The words are folded at the terminal's width.
			said := strings.Join(strings.Fields(program(t, dir, "show", "logins")+program(t, dir, "show", "findings")), " ")
			if !strings.Contains(said, c.says) {
				t.Errorf("nothing says %q:\n%s", c.says, said)
			}
			if c.says != accepted && strings.Contains(said, accepted) {
				t.Errorf("a finding without a proof:\n%s", said)
			}
		})
	}
	t.Run("asked for while off", func(t *testing.T) {
		cam := &fakeCamera{takes: factoryPassword}
		dir := loginSite(t, cam, "off", "")
		var out bytes.Buffer
		args := []string{"run", "--logins", "--plan", filepath.Join(dir, "plan.yaml")}
		if code := run(t.Context(), args, nil, &out, &out); code != exitUsage || cam.counted() != 0 {
			t.Errorf("exit %d, %d tries: %s", code, cam.counted(), &out)
		}
	})
}

// A lock ends all checks until a person clears it.
func TestFC24LockCleared(t *testing.T) {
	cam := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, _, login := r.BasicAuth(); login {
			w.WriteHeader(http.StatusLocked)
			return
		}
		w.Header().Set("WWW-Authenticate", `Basic realm="dome"`)
		w.WriteHeader(http.StatusUnauthorized)
	})
	dir := loginSite(t, cam, "on-request", "")
	program(t, dir, "run", "--logins")
	if said := program(t, dir, "show", "logins"); !strings.Contains(said, "accept lock/slip-cam") {
		t.Errorf("the lock is not told:\n%s", said)
	}
	if said := program(t, dir, "accept", "lock/slip-cam"); !strings.Contains(said, "dealt with") {
		t.Error(said)
	}
	if said := program(t, dir, "show", "logins"); strings.Contains(said, "accept lock/slip-cam") {
		t.Errorf("the lock still stands:\n%s", said)
	}
}

const loginChild = "BOUNDWALK_LOGIN_CHILD"

// FC-24: the process is killed at any point, over and over; the camera still
// counts one try in the day at most.
func TestFC24KilledAtAnyPoint(t *testing.T) {
	if dir := os.Getenv(loginChild); dir != "" {
		run(context.Background(), []string{"run", "--logins", "--plan", filepath.Join(dir, "plan.yaml")}, nil, os.Stdout, os.Stderr)
		return
	}
	for _, c := range []struct {
		name string
		at   func(login bool) bool // whether the kill comes while this is asked
		want int
	}{
		{"at its first packet, before the login", func(login bool) bool { return !login }, 0},
		{"when the login has left, before the answer", func(login bool) bool { return login }, 1},
		{"never", func(bool) bool { return false }, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			var process *os.Process
			var mu sync.Mutex
			cam := &fakeCamera{takes: "changed"}
			cam.onAsk = func(r *http.Request, login bool) {
				mu.Lock()
				defer mu.Unlock()
				if process != nil && c.at(login) {
					process.Kill()       //nolint:errcheck // it may have ended
					<-r.Context().Done() // its connection is gone, and so is it
				}
			}
			dir := loginSite(t, cam, "on-request", "")
			for range 4 {
				cmd := loginRun(t, dir)
				mu.Lock()
				if err := cmd.Start(); err != nil {
					t.Fatal(err)
				}
				process = cmd.Process
				mu.Unlock()
				cmd.Wait() //nolint:errcheck // it was killed
			}
			if n := cam.counted(); n != c.want {
				t.Errorf("the camera counted %d logins, want %d", n, c.want)
			}
			tries := loginTries(t, dir)
			if len(tries) != 1 {
				t.Fatalf("the logbook holds %+v, want one try", tries)
			}
			if killed := tries[0].Outcome == store.LoginReserved; killed != (c.name != "never") {
				t.Errorf("the try ended as %q", tries[0].Outcome)
			}
		})
	}
}

// The same at moments of chance, from before the logbook is open to after the end.
func TestFC24KilledAtRandom(t *testing.T) {
	cam := &fakeCamera{takes: "changed"}
	dir := loginSite(t, cam, "on-request", "")
	for k := range 12 {
		cmd := loginRun(t, dir)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		timer := time.AfterFunc(time.Duration(k*k)*2*time.Millisecond, func() { cmd.Process.Kill() }) //nolint:errcheck // it may have ended
		cmd.Wait()                                                                                    //nolint:errcheck // it was killed
		timer.Stop()
	}
	program(t, dir, "run", "--logins")
	if n := cam.counted(); n > 1 || len(loginTries(t, dir)) != 1 {
		t.Errorf("the camera counted %d logins, the logbook holds %+v", n, loginTries(t, dir))
	}
}

// loginRun is "run --logins" on the site in dir, as a process of its own.
func loginRun(t *testing.T, dir string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), self, "-test.run=^TestFC24KilledAtAnyPoint$", "-test.count=1")
	cmd.Env = append(os.Environ(), loginChild+"="+dir)
	return cmd
}

func loginTries(t *testing.T, dir string) []store.LoginTry {
	t.Helper()
	l, err := store.Open(t.Context(), filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	tries, err := l.LoginTries(t.Context(), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	return tries
}

// No password that was used is in the logbook, its snapshots, what is printed as
// text or JSON, or the mail, though the camera says it back.
func TestPasswordsTurnUpNowhere(t *testing.T) {
	for _, takes := range []string{factoryPassword, "changed"} {
		cam := &fakeCamera{takes: takes}
		ag, err := simnet.NewAgent(simnet.AgentOptions{Communities: []string{"quaypass", factoryCommunity}, Engine: "\x80\x00\x7e\xd9\x04hoist",
			Rows: []simnet.Row{{OID: "1.3.6.1.2.1.1.3.0", Value: simnet.TimeTicks(4242)}}})
		if err != nil {
			t.Fatal(err)
		}
		at := simnettest.Start(t, ag)
		dir := loginSite(t, cam, "on-request", fmt.Sprintf(
			"  hoist-cam: {role: camera, address: 127.0.0.2, access: yard, agent: %q, factory_login: {over: snmp, password: %s}}", at, factoryCommunity))
		said := map[string]string{}
		for _, args := range []string{"run --logins", "run --json --logins", "show logins", "show logins --json", "show findings --json", "show device slip-cam",
			"show device slip-cam --json", "digest", "check", "sheet"} {
			said[args] = program(t, dir, strings.Fields(args)...)
		}
		want := map[bool]string{true: "accepted", false: "refused"}[takes == factoryPassword]
		if cam.counted() != 1 || !strings.Contains(said["show logins"], want) || !strings.Contains(said["show logins"], "answers to it") {
			t.Fatalf("the check did not take place (%d tries), so this proves nothing:\n%s", cam.counted(), said["show logins"])
		}
		if err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() || e.Name() == "plan.yaml" || e.Name() == "yard.community" {
				return err
			}
			text, err := os.ReadFile(path)
			said[path] = string(text)
			return err
		}); err != nil {
			t.Fatal(err)
		}
		said["snapshot"] = snapshotText(t, dir)
		for where, text := range said {
			for _, secret := range []string{factoryPassword, factoryCommunity, "quaypass", base64.StdEncoding.EncodeToString([]byte("admin:" + factoryPassword))} {
				if strings.Contains(text, secret) {
					t.Errorf("%s holds a secret (%s)", where, secret)
				}
			}
		}
	}
}

func snapshotText(t *testing.T, dir string) string {
	t.Helper()
	l, err := store.OpenReader(t.Context(), filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	snap, _, err := l.Snapshot(t.Context())
	if err != nil || snap == nil || len(snap.Logins) == 0 {
		t.Fatalf("no snapshot with logins: %v", errors.Join(err))
	}
	text, err := json.Marshal(snap)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
