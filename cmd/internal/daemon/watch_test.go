package daemon

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io"
	"log/slog"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	netmail "net/mail"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"boundwalk/cmd/internal/control"
	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/pass"
	"boundwalk/cmd/internal/post"
	"boundwalk/store"
)

// watch is a whole daemon on a site, in a bubble where an hour passes at once.
// Only the looks at the network and the mail server are stand-ins.
type watch struct {
	t    *testing.T
	site *site
	dir  string
	book *store.Logbook
	log  *logged
	opts Options // what a test sets before it starts the daemon
	d    *Daemon
	stop func()

	mu      sync.Mutex
	taken   []taken     // by the mail server
	tries   []time.Time // of mails, in order
	refuses error       // what the server says instead of taking a mail; nil: it takes
}

// taken is a letter that the server took.
type taken struct {
	At            time.Time
	Kind, To      string
	Subject, Text string
	Message       string
}

// logged is a log that is read while it is written.
type logged struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

// tuesday is when the daemon of a test starts: days before the next digest is due.
var tuesday = time.Date(2026, 11, 24, 10, 0, 7, 0, time.UTC)

// inBubble runs test at that time of the bubble's own clock, with a site and a
// logbook in dir. Lines are further ones of the plan's service.
func inBubble(t *testing.T, dir string, start time.Time, lines string, test func(*watch)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Until(start)) // a bubble begins in the year 2000
		w := &watch{t: t, site: newSite(), dir: dir, log: &logged{}}
		w.site.takes = 20 * time.Second // a /24 is swept in 13 s; then the silent are asked again
		writePlan(t, w.planFile(), "mail.example.net:25")
		addLines(t, w.planFile(), lines)
		w.opts = Options{Survey: w.site.survey, Pulse: w.site.pulse, Line: w.site.outside}
		defer func() {
			w.end()
			if t.Failed() {
				t.Logf("the daemon logged:\n%s", w.log)
			}
		}()
		test(w)
	})
}

func (w *watch) planFile() string { return filepath.Join(w.dir, "plan.yaml") }

func (w *watch) check(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

// start starts the daemon; after end, it is the same one on the same logbook.
func (w *watch) start() {
	w.t.Helper()
	ctx, cancel := context.WithCancel(w.t.Context())
	var err error
	w.book, err = store.Open(ctx, filepath.Join(w.dir, "logbook.db"))
	w.check(err)
	opts := w.opts
	opts.PlanPath, opts.Book, opts.Log = w.planFile(), w.book, slog.New(slog.NewTextHandler(w.log, nil))
	opts.Report = func(*pass.Result) (control.Result, error) { return control.Result{}, nil }
	w.d, err = New(ctx, opts)
	w.check(err)
	w.d.worker.Send = w.send
	ended := make(chan error, 1)
	go func() { ended <- w.d.Run(ctx) }()
	w.stop = func() {
		cancel()
		if err := <-ended; err != nil {
			w.t.Error(err)
		}
		w.check(w.book.Close())
	}
}

func (w *watch) end() {
	if w.stop != nil {
		w.stop()
		w.stop = nil
	}
}

// send is the mail server.
func (w *watch) send(_ context.Context, m store.Letter) (mail.Receipt, error) {
	time.Sleep(time.Second)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.tries = append(w.tries, time.Now())
	if w.refuses != nil {
		return mail.Receipt{}, w.refuses
	}
	got := taken{At: time.Now(), Kind: m.Kind, To: m.Target, Message: m.Message, Text: string(m.Body)}
	if m.Target != post.HookTarget {
		got.Subject, got.Text = read(w.t, m.Body)
	}
	w.taken = append(w.taken, got)
	return mail.Receipt{Server: "mail.example.net:25", ServerWords: "250 2.0.0 Ok"}, nil
}

// refuse has the server say this to every mail; nil: it takes them again.
func (w *watch) refuse(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.refuses = err
}

// lockLogbook has another connection hold the logbook for writing until released.
func lockLogbook(t *testing.T, path string) (release func()) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?_txlock=immediate&_pragma=busy_timeout(10000)")
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := errors.Join(tx.Rollback(), db.Close()); err != nil {
			t.Error(err)
		}
	}
}

// mails lists what the server took of a kind, in the order in which it came.
func (w *watch) mails(kind string) []taken {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []taken
	for _, m := range w.taken {
		if m.Kind == kind {
			out = append(out, m)
		}
	}
	return out
}

// each fails unless each of the two readers has had so many of a kind.
func (w *watch) each(kind string, want int) []taken {
	w.t.Helper()
	list := w.mails(kind)
	count := map[string]int{}
	for _, m := range list {
		count[m.To]++
	}
	if count["owner@example.net"] != want || count["boss@example.net"] != want || len(list) != 2*want {
		w.t.Errorf("%s: mails of kind %q: %v, want %d for each reader", time.Now().Format(time.DateTime), kind, count, want)
	}
	return list
}

// read is the subject of a mail, and its text in single blanks.
func read(t *testing.T, raw []byte) (subject, text string) {
	t.Helper()
	m, err := netmail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Error(err)
		return "", ""
	}
	body, header := m.Body, func(k string) string { return m.Header.Get(k) }
	for {
		kind, params, err := mime.ParseMediaType(header("Content-Type"))
		if err != nil || !strings.HasPrefix(kind, "multipart/") {
			break
		}
		part, err := multipart.NewReader(body, params["boundary"]).NextRawPart() // the text is the first
		if err != nil {
			t.Error(err)
			return "", ""
		}
		body, header = part, part.Header.Get
	}
	b, err := io.ReadAll(quotedprintable.NewReader(body))
	if err != nil {
		t.Error(err)
	}
	return m.Header.Get("Subject"), strings.Join(strings.Fields(string(b)), " ")
}
