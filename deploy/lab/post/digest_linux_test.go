package post

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

// The digest that a person sends, and the test mail of doctor: taken by postfix
// over STARTTLS with a login, and read back from the readers' mailboxes.
func TestDigestByHand(t *testing.T) {
	o := openOffice(t)
	o.boundwalk(ran, "run")
	must(t, o.site.Lose())
	o.boundwalk(ran, "run")
	o.boundwalk(ran, "run")
	o.pastWeek()
	said := o.boundwalk([]int{0}, "digest", "--send")
	for _, to := range []string{"owner", "boss"} {
		if !strings.Contains(said, "mailed to "+to+"@ternquay.example; 127.0.0.1:587 said: 250 2.0.0 Ok: queued as") {
			t.Errorf("it does not say what the server said to the mail for %s: %s", to, said)
		}
	}
	netns.Until(t, "both mails arrive", func() bool { return len(o.mail.ids("owner")) == 1 && len(o.mail.ids("boss")) == 1 })
	full, short := o.mail.box("owner")[0], o.mail.box("boss")[0]
	for name, l := range map[string]letter{"owner": full, "boss": short} {
		if to, err := l.AddressList("To"); err != nil || len(to) != 1 || to[0].Address != name+"@ternquay.example" {
			t.Errorf("%s: To %q, %v", name, l.Get("To"), err)
		}
		l.sameInBoth(t)
		for _, want := range []string{"office-ap is missing", "loft-switch is missing", "davit-cam", "What needs a hand"} {
			if !strings.Contains(l.text, want) {
				t.Errorf("%s: %q is not in\n%s", name, want, l.text)
			}
		}
		if l.Get("Sensitivity") != "Company-Confidential" {
			t.Errorf("%s: it lists dead cameras, and its Sensitivity is %q", name, l.Get("Sensitivity"))
		}
		if year, week := time.Now().UTC().ISOWeek(); !strings.HasPrefix(l.subject, fmt.Sprintf("Tern Quay, week %d of %d: ", week, year)) {
			t.Errorf("%s: subject %q", name, l.subject)
		}
		if got := strings.Join(strings.Fields(l.Get("Received")), " "); !strings.Contains(got, "from watch.ternquay.example") || !strings.Contains(got, "SA id") {
			t.Errorf("%s: not by TLS with a login, or another greeting: %q", name, got) // RFC 3848: ESMTPSA
		}
	}
	if full.Get("Message-ID") == short.Get("Message-ID") {
		t.Error("two mails, one Message-ID")
	}
	if !strings.Contains(full.text, "\nPower\n") || strings.Contains(short.text, "\nPower\n") || len(short.text) >= len(full.text) {
		t.Errorf("the short form has %d characters of %d:\n%s", len(short.text), len(full.text), short.text)
	}
	if len(full.pictures) == 0 {
		t.Error("no picture of the week's power")
	}
	if strings.Contains(o.mail.log(), password) || strings.Contains(said, password) {
		t.Error("the password is told")
	}
}

// The server's own words on what is wrong, by "doctor --mail", and nothing sent.
func TestDoctorTellsTheServersWords(t *testing.T) {
	o := openOffice(t)
	doctor := func() string {
		t.Helper()
		said := o.boundwalk([]int{0, 3}, "doctor", "--mail", "owner@ternquay.example")
		if strings.Contains(said, password) || strings.Contains(said, "low tide") {
			t.Error("the password is told")
		}
		_, mail, _ := strings.Cut(said, " mail ")
		mail, _, _ = strings.Cut(mail, " ports ")
		return mail
	}
	tell := func(what, want string) {
		t.Helper()
		if mail := doctor(); !strings.HasPrefix(mail, "fail ") || !strings.Contains(mail, want) {
			t.Errorf("%s: want %q in %s", what, want, mail)
		}
	}
	o.plan(untrusted)
	tell("a foreign certificate", "certificate is not trusted")
	o.plan(inTheOpen)
	tell("no STARTTLS", "offers no STARTTLS")
	o.plan(sound)
	o.write("mail.secret", "low tide\n")
	tell("a wrong password", "535 5.7.8 Error: authentication failed")
	o.write("mail.secret", password+"\n")
	bare := o.command("doctor", "--mail", "owner@ternquay.example")
	o.plan(bareNames)
	text, err := os.ReadFile(o.path("plan.yaml"))
	must(t, err)
	o.write("plan.yaml", strings.Replace(string(text), "    hello: watch.ternquay.example\n", "", 1))
	bare.Args = append([]string{"unshare", "--uts", "sh", "-c", `hostname berth && exec "$@"`, "sh"}, bare.Args...)
	bare.Path, err = exec.LookPath("unshare")
	must(t, err)
	var out bytes.Buffer
	bare.Stdout, bare.Stderr = &out, &out
	bare.Run() //nolint:errcheck // what it says is looked at
	if said := strings.Join(strings.Fields(out.String()), " "); !strings.Contains(said, "504 5.5.2 <berth>: Helo command rejected: need fully-qualified hostname") || !strings.Contains(said, "named") && !strings.Contains(said, "fail") {
		t.Errorf("a bare name in the greeting: %s", said)
	}
	if o.mail.said("status=sent") {
		t.Errorf("something was delivered:\n%s", o.mail.log())
	}
	o.plan(sound)
	if mail := doctor(); !strings.HasPrefix(mail, "pass ") || !strings.Contains(mail, "took it: 250 2.0.0 Ok: queued as") {
		t.Errorf("a sound way: %s", mail)
	}
	netns.Until(t, "the test mail arrives", func() bool { return len(o.mail.ids("owner")) == 1 })
}
