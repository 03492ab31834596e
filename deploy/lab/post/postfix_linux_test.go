// Package post has the program's mail taken by Debian's postfix, and reads it
// back from the mailboxes that postfix delivers to.
package post

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

// The account at the server, and its services by what is wrong with them.
const (
	account  = "watch@ternquay.example"
	password = "tide table"

	sound     = 587 // STARTTLS and login, as a provider has it
	untrusted = 588 // the same with a certificate that nobody vouches for
	inTheOpen = 589 // no STARTTLS, and so no login
	bareNames = 590 // as sound, for the tests of names in the greeting
)

// postfix is a mail server in a namespace, with configuration, queue and
// mailboxes in a folder of its own.
type postfix struct {
	t   *testing.T
	in  *netns.Namespace
	dir string
}

// startPostfix returns once the server listens.
func startPostfix(t *testing.T, in *netns.Namespace) *postfix {
	t.Helper()
	netns.Need(t, "postfix")
	netns.Need(t, "saslpasswd2")
	// Not t.TempDir: the server's processes have users of their own, to whom it is closed.
	dir, err := os.MkdirTemp("", "bwpost")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	p := &postfix{t: t, in: in, dir: dir}
	for _, d := range []string{"", "conf", "conf/sasl", "queue", "data", "boxes"} {
		p.check(os.MkdirAll(p.path(d), 0o755))
		p.check(os.Chmod(p.path(d), 0o755))
	}
	p.own("data", "postfix")
	p.own("boxes", "nobody")
	p.certificate("trusted")
	p.certificate("foreign")
	p.write("conf/main.cf", p.fill(mainConf))
	p.write("conf/master.cf", p.fill(masterConf))
	p.write("conf/sasl/smtpd.conf", p.fill("pwcheck_method: auxprop\nauxprop_plugin: sasldb\nsasldb_path: DIR/conf/sasl/sasldb2\nmech_list: SCRAM-SHA-256 PLAIN LOGIN\n"))
	name, domain, _ := strings.Cut(account, "@")
	save := exec.Command("saslpasswd2", "-c", "-p", "-f", p.path("conf/sasl/sasldb2"), "-u", domain, name)
	save.Stdin = strings.NewReader(password)
	if out, err := save.CombinedOutput(); err != nil {
		t.Fatalf("saslpasswd2: %v: %s", err, out)
	}
	p.check(os.Chmod(p.path("conf/sasl/sasldb2"), 0o644))
	in.Start("postfix", "-c", p.path("conf"), "start-fg")
	t.Cleanup(p.stop)
	netns.Until(t, "postfix listens", func() bool {
		return exec.Command("ip", "netns", "exec", in.Name, "bash", "-c", "exec 3<>/dev/tcp/127.0.0.1/587").Run() == nil
	})
	return p
}

// stop ends the server: its master is a child of what the namespace started.
func (p *postfix) stop() {
	if p.t.Failed() {
		text, _ := os.ReadFile(p.path("maillog")) // it may not have come that far
		p.t.Logf("postfix logged:\n%s", text)
	}
	if out, err := exec.Command("ip", "netns", "exec", p.in.Name, "postfix", "-c", p.path("conf"), "stop").CombinedOutput(); err != nil {
		p.t.Errorf("stop postfix: %v: %s", err, out)
	}
}

func (p *postfix) path(name string) string   { return filepath.Join(p.dir, name) }
func (p *postfix) fill(text string) string   { return strings.ReplaceAll(text, "DIR", p.dir) }
func (p *postfix) write(name, text string)   { p.check(os.WriteFile(p.path(name), []byte(text), 0o644)) }
func (p *postfix) trusted() string           { return p.path("trusted.pem") }
func (p *postfix) said(words string) bool    { return strings.Contains(p.log(), words) }
func (p *postfix) log() string               { text, _ := os.ReadFile(p.path("maillog")); return string(text) }
func (p *postfix) check(err error)           { p.t.Helper(); must(p.t, err) }
func (p *postfix) server(service int) string { return fmt.Sprintf("127.0.0.1:%d", service) }

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// own gives a file to a user of the machine.
func (p *postfix) own(name, to string) {
	p.t.Helper()
	u, err := user.Lookup(to)
	p.check(err)
	uid, err := strconv.Atoi(u.Uid)
	p.check(err)
	p.check(os.Chown(p.path(name), uid, -1))
}

// certificate makes one for the server's address, which is its own authority:
// NAME.pem, and NAME.key.
func (p *postfix) certificate(name string) {
	p.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	p.check(err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	p.check(err)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	p.check(err)
	p.write(name+".pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert})))
	p.check(os.WriteFile(p.path(name+".key"), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600))
}

// mainConf delivers to the mailboxes of one domain, and nothing anywhere else.
const mainConf = `compatibility_level = 3.6
queue_directory = DIR/queue
data_directory = DIR/data
maillog_file = DIR/maillog
maillog_file_prefixes = DIR
myhostname = mail.ternquay.example
mydestination =
local_recipient_maps =
alias_maps =
alias_database =
inet_interfaces = 127.0.0.1
inet_protocols = ipv4
default_transport = error:nothing leaves
relay_transport = error:nothing leaves
virtual_mailbox_domains = ternquay.example
virtual_mailbox_base = DIR/boxes
virtual_mailbox_maps = inline:{ {owner@ternquay.example = owner/}, {boss@ternquay.example = boss/} }
virtual_minimum_uid = 1
virtual_uid_maps = static:65534
virtual_gid_maps = static:65534
smtpd_tls_chain_files = DIR/trusted.key, DIR/trusted.pem
smtpd_tls_auth_only = yes
smtpd_sasl_path = smtpd
smtpd_sasl_local_domain = ternquay.example
smtpd_relay_restrictions = permit_sasl_authenticated, reject
smtpd_recipient_restrictions = permit_sasl_authenticated, reject
`

const masterConf = `587 inet n - n - - smtpd
  -o smtpd_tls_security_level=encrypt -o smtpd_sasl_auth_enable=yes
588 inet n - n - - smtpd
  -o smtpd_tls_security_level=encrypt -o smtpd_sasl_auth_enable=yes -o smtpd_tls_chain_files=DIR/foreign.key,DIR/foreign.pem
589 inet n - n - - smtpd
  -o smtpd_tls_security_level=none -o smtpd_sasl_auth_enable=yes
590 inet n - n - - smtpd
  -o smtpd_tls_security_level=encrypt -o smtpd_sasl_auth_enable=yes -o smtpd_delay_reject=no -o smtpd_helo_restrictions=reject_non_fqdn_helo_hostname
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
tlsmgr unix - - n 1000? 1 tlsmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
proxymap unix - - n - - proxymap
error unix - - n - - error
virtual unix - n n - - virtual
anvil unix - - n - 1 anvil
postlog unix-dgram n - n - 1 postlogd
`
