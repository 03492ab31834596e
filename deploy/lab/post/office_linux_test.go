package post

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"
	"boundwalk/discover/simnet/ternquay"
	"boundwalk/store"
)

func TestMain(m *testing.M) { os.Exit(program.Main(m)) }

// office is the boatyard's server: a namespace of its own with the example site's
// agents and the mail server on its loopback.
type office struct {
	t    *testing.T
	in   *netns.Namespace
	site *ternquay.Site
	mail *postfix
	dir  string
}

func openOffice(t *testing.T) *office {
	t.Helper()
	t.Parallel()
	o := &office{t: t, in: netns.New(t), dir: t.TempDir()}
	o.mail = startPostfix(t, o.in)
	ctx, cancel := context.WithCancel(context.Background())
	var err error
	o.in.Do(func() { o.site, err = ternquay.Start(ctx) })
	must(t, err)
	t.Cleanup(func() { cancel(); must(t, o.site.Close()) })
	must(t, ternquay.WriteSecrets(o.dir))
	o.write("mail.secret", password+"\n")
	o.plan(sound)
	return o
}

func (o *office) path(name string) string { return filepath.Join(o.dir, name) }
func (o *office) write(name, text string) { must(o.t, os.WriteFile(o.path(name), []byte(text), 0o600)) }

// plan writes the site's plan with a service of the mail server. The digest's
// time was yesterday, so that none becomes due while a test runs.
func (o *office) plan(service int, more ...string) {
	o.t.Helper()
	site := strings.Replace(string(o.site.PlanYAML()), "boots: 8 min", "boots: 1 s", 1) // this machine may have just started
	o.write("plan.yaml", site+fmt.Sprintf(`
service:
  pulse: 1 s
  digest: "0 8 * * %d"
  socket: %s
  mail:
    to: [owner@ternquay.example, {address: boss@ternquay.example, short: true}]
    from: %s
    server: %q
    user: %s
    password: file:mail.secret
    hello: watch.ternquay.example
%s`, (int(time.Now().UTC().Weekday())+6)%7, o.path("control.sock"), account, o.mail.server(service), account, strings.Join(more, "\n")))
}

func (o *office) command(args ...string) *exec.Cmd {
	o.t.Helper()
	args = append([]string{"netns", "exec", o.in.Name, program.Built(o.t)}, args...)
	cmd := exec.CommandContext(o.t.Context(), "ip", append(args, "--plan", o.path("plan.yaml"))...)
	cmd.Env = append(os.Environ(), "SSL_CERT_FILE="+o.mail.trusted(), "BOUNDWALK_PLAN=", "BOUNDWALK_LOGBOOK=", "NO_COLOR=1")
	return cmd
}

// boundwalk runs the program to its end; the code is one of those wanted. What it
// wrote comes with single blanks only.
func (o *office) boundwalk(want []int, args ...string) string {
	o.t.Helper()
	out, err := o.command(args...).CombinedOutput()
	code := 0
	if e, ok := errors.AsType[*exec.ExitError](err); ok {
		code = e.ExitCode()
	} else {
		must(o.t, err)
	}
	if !slices.Contains(want, code) {
		o.t.Fatalf("boundwalk %v ended with %d, want %v:\n%s", args, code, want, out)
	}
	return strings.Join(strings.Fields(string(out)), " ")
}

// ran are the exits of a run that was made.
var ran = []int{0, 3, 4}

// book opens the logbook beside the program.
func (o *office) book() *store.Logbook {
	o.t.Helper()
	b, err := store.OpenReader(o.t.Context(), o.path("logbook.db"))
	must(o.t, err)
	return b
}

// waiting are the letters in the spool.
func (o *office) waiting() []store.Letter {
	o.t.Helper()
	b := o.book()
	defer b.Close()
	w, err := b.Waiting(o.t.Context())
	must(o.t, err)
	return w
}

// runs is how many runs came to their end.
func (o *office) runs() int {
	o.t.Helper()
	b := o.book()
	defer b.Close()
	n, _, err := b.CountRuns(o.t.Context(), time.Time{})
	must(o.t, err)
	return n
}

// alter opens the logbook for what a test changes in it while no program runs.
func (o *office) alter(how func(*store.Logbook) error) {
	o.t.Helper()
	b, err := store.Open(o.t.Context(), o.path("logbook.db"))
	must(o.t, err)
	must(o.t, errors.Join(how(b), b.Close()))
}

// servedFor has the logbook remember that a daemon has served it for weeks: then
// the last digest is owed.
func (o *office) servedFor(weeks int) {
	o.t.Helper()
	o.alter(func(b *store.Logbook) error {
		return b.SetFact(o.t.Context(), "serving since", time.Now().AddDate(0, 0, -7*weeks).UTC().Format(time.RFC3339))
	})
}

// sql changes the logbook beside the program's own ways.
func (o *office) sql(query string, args ...any) {
	o.t.Helper()
	db, err := sql.Open("sqlite", o.path("logbook.db"))
	must(o.t, err)
	defer db.Close()
	_, err = db.ExecContext(o.t.Context(), query, args...)
	must(o.t, err)
}

// pastWeek has the draws of the runs stand in the logbook for each hour of the
// days before.
func (o *office) pastWeek() {
	o.t.Helper()
	for _, hours := range []int{1, 2, 4, 8, 16, 32, 64} { // each doubles what is there
		o.sql(`INSERT OR IGNORE INTO supply_samples (supply, at, budget, used, basis, reserved)
			SELECT supply, at - 3600 * ?, budget, used, basis, reserved FROM supply_samples`, hours)
		o.sql(`INSERT OR IGNORE INTO port_samples (port, at, up, state, class, draw, basis)
			SELECT port, at - 3600 * ?, up, state, class, draw, basis FROM port_samples`, hours)
	}
}

// status is what the daemon tells at its socket.
func (o *office) status() string {
	o.t.Helper()
	client := http.Client{Transport: &http.Transport{DisableKeepAlives: true, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", o.path("control.sock"))
	}}}
	r, err := client.Get("http://boundwalk/status")
	must(o.t, err)
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	must(o.t, err)
	return string(text)
}

// daemon is "boundwalk serve" while it runs.
type daemon struct {
	o     *office
	cmd   *exec.Cmd
	log   string // file
	ended chan error
}

// serve starts the daemon, and returns once its first run is over.
func (o *office) serve() *daemon {
	o.t.Helper()
	before := 0
	if _, err := os.Stat(o.path("logbook.db")); err == nil {
		before = o.runs()
	}
	log, err := os.CreateTemp(o.dir, "log")
	must(o.t, err)
	defer log.Close()
	d := &daemon{o: o, cmd: o.command("serve"), log: log.Name(), ended: make(chan error, 1)}
	d.cmd.Stderr = log
	must(o.t, d.cmd.Start())
	go func() { d.ended <- d.cmd.Wait() }()
	o.t.Cleanup(func() {
		d.end(syscall.SIGKILL)
		if o.t.Failed() {
			o.t.Logf("serve logged:\n%s", d.said())
		}
	})
	netns.Until(o.t, "the first run of the daemon", func() bool {
		_, err := os.Stat(o.path("logbook.db"))
		return err == nil && strings.Contains(d.said(), "serving") && o.runs() > before
	})
	return d
}

func (d *daemon) said() string {
	text, err := os.ReadFile(d.log)
	must(d.o.t, err)
	return string(text)
}

func (d *daemon) signal(s syscall.Signal) {
	d.o.t.Helper()
	must(d.o.t, d.cmd.Process.Signal(s)) // ip netns exec has become the program
}

// end ends the daemon, unless it is over.
func (d *daemon) end(s syscall.Signal) {
	if d.cmd.Process == nil || d.ended == nil {
		return
	}
	d.cmd.Process.Signal(s) //nolint:errcheck // it may have ended by itself
	<-d.ended
	d.ended = nil
}
