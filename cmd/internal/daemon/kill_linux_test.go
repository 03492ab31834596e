package daemon

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	netmail "net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"boundwalk/cmd/internal/control"
	"boundwalk/store"
)

const (
	killDir  = "BOUNDWALK_KILL_DIR"  // makes TestKillChild the child
	killLast = "BOUNDWALK_KILL_LAST" // the child only empties the spool
)

// TestKillChild is the process that TestKilled kills: it makes runs, promises
// mails and sends them as fast as it can. Each run is a week for the digest.
func TestKillChild(t *testing.T) {
	dir := os.Getenv(killDir)
	if dir == "" {
		t.Skip("only a part of TestKilled")
	}
	ctx := context.Background()
	book, err := store.Open(ctx, filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	s := newSite()
	d, err := New(ctx, Options{PlanPath: filepath.Join(dir, "plan.yaml"), Book: book, Survey: s.survey})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println("ready")
	for os.Getenv(killLast) == "" {
		done, _, err := book.CountRuns(ctx, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		s.set("slip-cam", done/3%2 == 0) // there for three runs, gone for three
		res, err := d.run(ctx, "schedule", control.Wishes{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println("run", res.ID)
		now := d.began.AddDate(0, 0, 7*(done+1))
		d.owed = "" // with the second call it sends in any case
		d.weekly(ctx, now)
		d.weekly(ctx, now)
		if err := d.worker.Round(ctx, time.Now()); err != nil {
			t.Fatal(err)
		}
	}
	if err := book.Hasten(ctx, time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := d.worker.Round(ctx, time.Now()); err != nil {
		t.Fatal(err)
	}
}

// Killed at 200 random moments during runs and sends, the daemon loses no run
// that it said was made and no mail that it promised, sends nothing again that
// the logbook says was taken, and leaves a sound logbook.
func TestKilled(t *testing.T) {
	kills := 200
	if testing.Short() {
		kills = 20
	}
	box, dir := newMailbox(t), t.TempDir()
	writePlan(t, filepath.Join(dir, "plan.yaml"), box.addr)
	made, sent := 0, map[string]bool{}
	for range kills {
		made = max(made, killOnce(t, dir))
		box.forbid(sent)
		book, err := store.OpenReader(t.Context(), filepath.Join(dir, "logbook.db"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := book.Runs(t.Context(), made+10)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			if r.ID == int64(made) && r.State != "complete" {
				t.Fatalf("run %d was made, and is %s", r.ID, r.State)
			}
		}
		if made > 0 && (len(rows) == 0 || rows[0].ID < int64(made)) {
			t.Fatalf("run %d is lost", made)
		}
		letters, err := book.Letters(t.Context(), 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range letters {
			sent[m.Message] = sent[m.Message] || m.State == "sent"
		}
		book.Close()
	}
	child := command(t, dir)
	child.Env = append(child.Env, killLast+"=1")
	if out, err := child.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	box.forbid(sent)
	t.Logf("%d runs, %d letters, %d taken, %d of them twice", made, len(sent), len(box.taken), box.twice())
	if made < kills/8 || len(sent) < kills/4 {
		t.Errorf("%d runs and %d letters: the kills came too early to tell anything", made, len(sent))
	}
	if box.twice() > kills {
		t.Errorf("%d mails were taken twice by %d kills", box.twice(), kills)
	}
	checkEnd(t, dir, box)
}

// killOnce starts the child, kills it a little later, and returns the last run that it said was made.
func killOnce(t *testing.T, dir string) (last int) {
	t.Helper()
	child := command(t, dir)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	child.Stderr = child.Stdout
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	var said []string
	for lines.Scan() {
		said = append(said, lines.Text())
		if lines.Text() == "ready" {
			moment := time.Duration(rand.Int64N(int64(250 * time.Millisecond)))
			stop := time.AfterFunc(moment, func() { child.Process.Kill() })
			defer stop.Stop()
		}
		fmt.Sscanf(lines.Text(), "run %d", &last)
	}
	if err := child.Wait(); err == nil || child.ProcessState.ExitCode() != -1 {
		t.Fatalf("the child ended by itself: %v\n%s", err, strings.Join(said, "\n"))
	}
	return last
}

func command(t *testing.T, dir string) *exec.Cmd {
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	child := exec.Command(exe, "-test.run=^TestKillChild$")
	child.Env = append(os.Environ(), killDir+"="+dir)
	return child
}

// checkEnd looks at what is left once the spool is empty.
func checkEnd(t *testing.T, dir string, box *mailbox) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var sound string
	if err := db.QueryRow("PRAGMA integrity_check").Scan(&sound); err != nil || sound != "ok" {
		t.Errorf("integrity: %s, %v", sound, err)
	}
	book, err := store.OpenReader(t.Context(), filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	letters, err := book.Letters(t.Context(), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	weeks := map[string]int{}
	for _, m := range letters {
		if m.State != "sent" {
			t.Errorf("%s is %s: %s", m.Key, m.State, m.Words)
		}
		if box.taken["<"+m.Message+">"] == 0 {
			t.Errorf("%s never arrived", m.Key)
		}
		if m.Kind == "digest" {
			weeks[strings.Split(m.Key, "/")[1]]++
		}
	}
	if len(box.taken) != len(letters) {
		t.Errorf("%d different mails were taken, %d promised", len(box.taken), len(letters))
	}
	marks, err := book.DigestWeeks(t.Context(), time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range marks {
		if weeks[w] != 2 {
			t.Errorf("%s has %d letters, want one for each reader", w, weeks[w])
		}
	}
	if len(weeks) != len(marks) {
		t.Errorf("%d weeks have letters, %d are marked", len(weeks), len(marks))
	}
}

// mailbox is a real SMTP server that counts each Message-ID.
type mailbox struct {
	addr string

	mu    sync.Mutex
	taken map[string]int
	never map[string]bool // taken and marked: one more is a fault
	fault []string
}

func newMailbox(t testing.TB) *mailbox {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := &mailbox{addr: l.Addr().String(), taken: map[string]int{}, never: map[string]bool{}}
	srv := smtp.NewServer(b)
	srv.Domain, srv.ErrorLog = "mail.example.net", silent{}
	ended := make(chan struct{})
	go func() { srv.Serve(l); close(ended) }()
	t.Cleanup(func() {
		srv.Close()
		<-ended
		for _, f := range b.fault {
			t.Errorf("%s was taken again though the logbook had it as sent", f)
		}
	})
	return b
}

// forbid has these IDs never come again.
func (b *mailbox) forbid(sent map[string]bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for id, yes := range sent {
		b.never["<"+id+">"] = b.never["<"+id+">"] || yes
	}
}

func (b *mailbox) twice() (n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, k := range b.taken {
		n += k - 1
	}
	return n
}

func (b *mailbox) NewSession(*smtp.Conn) (smtp.Session, error) { return letterbox{b}, nil }

type silent struct{}

func (silent) Printf(string, ...any) {}
func (silent) Println(...any)        {}

type letterbox struct{ b *mailbox }

func (letterbox) Mail(string, *smtp.MailOptions) error { return nil }
func (letterbox) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (letterbox) Reset()                               {}
func (letterbox) Logout() error                        { return nil }
func (x letterbox) Data(r io.Reader) error {
	m, err := netmail.ReadMessage(r)
	if err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, m.Body); err != nil {
		return err // it broke off: not taken
	}
	id := m.Header.Get("Message-ID")
	x.b.mu.Lock()
	defer x.b.mu.Unlock()
	x.b.taken[id]++
	if x.b.never[id] {
		x.b.fault = append(x.b.fault, id)
	}
	return nil
}
