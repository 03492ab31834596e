package post

import (
	"fmt"
	"slices"
	"strings"
	"syscall"
	"testing"

	"boundwalk/deploy/lab/netns"
)

// digests are the weekly letters in a mailbox, whatever else came by then.
func (p *postfix) digests(name string) []letter {
	p.t.Helper()
	return slices.DeleteFunc(p.box(name), func(l letter) bool { return !strings.HasPrefix(l.subject, "Tern Quay, week ") })
}

// told counts the letters in a mailbox whose subject has one of the words and
// whose text has the other.
func (p *postfix) told(box, subject, text string) int {
	p.t.Helper()
	n := 0
	for _, l := range p.box(box) {
		if strings.Contains(l.subject, subject) && strings.Contains(l.text, text) {
			n++
		}
	}
	return n
}

var readers = []string{"owner", "boss"}

// The daemon's own mails through postfix: the digest that is owed, once; then an
// access point and a switch go dark, and each reader has one mail that they did
// and one that it is over. A daemon that is ended or killed in between, and
// begins anew, says nothing twice.
func TestDaemonMailsOnce(t *testing.T) {
	o := openOffice(t)
	o.servedFor(3)
	d := o.serve()
	netns.Until(t, "the digest is there", func() bool { return len(o.mail.digests("owner")) == 1 && len(o.mail.digests("boss")) == 1 })
	for _, name := range readers {
		o.mail.digests(name)[0].sameInBoth(t)
	}

	must(t, o.site.Lose()) // a pulse sees it, and asks for the runs that prove it
	dark := []string{"office-ap is missing", "loft-switch is missing"}
	count := func(word, text string) (n int) {
		for _, name := range readers {
			n += o.mail.told(name, word, text)
		}
		return n
	}
	everywhere := func(word string) func() bool {
		return func() bool { return count(word, dark[0]) >= 2 && count(word, dark[1]) >= 2 }
	}
	netns.Until(t, "the mail that they are missing", everywhere("urgent"))
	for _, s := range []syscall.Signal{syscall.SIGTERM, syscall.SIGKILL} {
		d.end(s)
		d = o.serve()
		o.boundwalk(ran, "run") // by the daemon, at its socket
	}
	if n := count("over", ""); n != 0 {
		t.Errorf("%d mails say that it is over", n)
	}
	must(t, o.site.Find())
	netns.Until(t, "the mail that it is over", everywhere("over"))
	d.end(syscall.SIGKILL)
	d = o.serve()
	o.boundwalk(ran, "run")
	netns.Until(t, "the spool is empty", func() bool { return len(o.waiting()) == 0 })
	for _, word := range []string{"urgent", "over"} {
		for _, text := range dark {
			if n := count(word, text); n != len(readers) {
				t.Errorf("%q is in %d mails of %q, want one for each reader", text, n, word)
			}
		}
	}
	if n := count("week", ""); n != len(readers) {
		t.Errorf("%d digests, want one for each reader", n)
	}
	d.end(syscall.SIGTERM)
	if !strings.Contains(d.said(), "terminated") {
		t.Errorf("the log does not say why it ended:\n%s", d.said())
	}
}

// What is wrong with the way for mail stands in log and status in the server's own
// words, and the digest waits in the spool. It goes once, soon after the plan is
// mended and read again, and the next one says that an earlier one was late.
func TestDigestWaitsForTheWay(t *testing.T) {
	o := openOffice(t)
	o.servedFor(3)
	o.write("mail.secret", "low tide\n")
	d := o.serve()
	wait := func(what, words string) {
		t.Helper()
		netns.Until(t, what, func() bool {
			told := 0
			for _, m := range o.waiting() {
				if strings.Contains(m.Words, words) {
					told++
				}
			}
			return told == len(readers)
		})
		if w := o.waiting(); len(w) != len(readers) || !strings.Contains(d.said(), words) || !strings.Contains(o.status(), words) {
			t.Errorf("%s: %d letters wait; status\n%s\nlog\n%s", what, len(w), o.status(), d.said())
		}
	}
	wait("a wrong password is told", "535 5.7.8 Error: authentication failed")
	o.write("mail.secret", password+"\n")
	for _, x := range []struct {
		service int
		words   string
	}{{untrusted, "certificate is not trusted"}, {inTheOpen, "offers no STARTTLS"}} {
		o.plan(x.service)
		d.signal(syscall.SIGHUP)
		wait(fmt.Sprintf("port %d", x.service), x.words)
	}
	if o.mail.said("status=sent") || strings.Contains(d.said(), password) || strings.Contains(d.said(), "low tide") {
		t.Errorf("sent, or a password told:\n%s\n%s", o.mail.log(), d.said())
	}
	o.plan(sound)
	d.signal(syscall.SIGHUP)
	netns.Until(t, "the digest is there", func() bool { return len(o.mail.digests("owner")) == 1 && len(o.mail.digests("boss")) == 1 })
	netns.Until(t, "the spool is empty", func() bool { return len(o.waiting()) == 0 })

	d.end(syscall.SIGTERM)
	o.sql(`UPDATE spool SET queued = queued - 3 * 86400`) // as if it had waited for days
	if said := o.boundwalk([]int{0}, "digest"); !strings.Contains(said, "arrived late") {
		t.Errorf("the next digest does not say that one was late: %s", said)
	}
}
