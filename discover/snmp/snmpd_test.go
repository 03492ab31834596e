package snmp_test

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/snmp"
)

// The configuration of net-snmp's daemon: users of three strengths, and values
// at the edge of their types.
const snmpdConf = `
rocommunity public 127.0.0.1
sysName quay-gateway
sysLocation Tern Quay, boat shed
createUser audit512 SHA-512 authpass512 AES-256 privpass256
createUser audit256 SHA-256 authpass256 AES privpass128
createUser auditmd5 MD5 authpassmd5 DES privpassdes
rouser audit512 priv
rouser audit256 auth
rouser auditmd5 auth
override 1.3.6.1.4.1.8072.9999.9999.1.0 octet_str "a\"b"
override 1.3.6.1.4.1.8072.9999.9999.3.0 uinteger 4294967295
override 1.3.6.1.4.1.8072.9999.9999.4.0 integer -2147483648
`

var snmpdUsers = map[string]snmp.Credentials{
	"SHA-512, AES-256": {Version: "3", User: "audit512", Auth: "sha512", AuthSecret: "authpass512", Privacy: "aes256", PrivacySecret: "privpass256"},
	"SHA-256, AES":     {Version: "3", User: "audit256", Auth: "sha256", AuthSecret: "authpass256", Privacy: "aes", PrivacySecret: "privpass128"},
	"SHA-256":          {Version: "3", User: "audit256", Auth: "sha256", AuthSecret: "authpass256"},
	"MD5, DES":         {Version: "3", User: "auditmd5", Auth: "md5", AuthSecret: "authpassmd5", Privacy: "des", PrivacySecret: "privpassdes"},
}

// tool finds a program of net-snmp. Where CI=true it must be there.
func tool(t testing.TB, name, debianPackage string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		path, err = exec.LookPath("/usr/sbin/" + name)
	}
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("no %s (Debian: %s)", name, debianPackage)
		}
		t.Skipf("no %s (Debian: %s)", name, debianPackage)
	}
	return path
}

// startSNMPD runs net-snmp's daemon on a port of 127.0.0.1 until the test ends.
func startSNMPD(t *testing.T) netip.AddrPort {
	t.Helper()
	daemon := tool(t, "snmpd", "snmpd")
	conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := conn.LocalAddr().(*net.UDPAddr).AddrPort()
	conn.Close() // for the daemon to take
	dir := t.TempDir()
	conf := filepath.Join(dir, "snmpd.conf")
	if err := os.WriteFile(conf, []byte(snmpdConf), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(daemon, "-f", "-Lo", "-C", "-c", conf, "-p", filepath.Join(dir, "pid"), "udp:"+addr.String())
	cmd.Env = append(os.Environ(), "SNMP_PERSISTENT_DIR="+dir, "MIBS=")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	drained := make(chan struct{})
	t.Cleanup(func() {
		cmd.Process.Kill()
		<-drained
		cmd.Wait()
	})
	ready := make(chan string, 1) // empty, or what it said before it ended
	go func() {
		defer close(drained)
		said, up := "", false
		for sc := bufio.NewScanner(out); sc.Scan(); {
			if !up && strings.HasPrefix(sc.Text(), "NET-SNMP version") { // its sockets are open
				up = true
				ready <- ""
			}
			if !up {
				said += sc.Text() + "\n"
			}
		}
		if !up {
			ready <- said + "and ended"
		}
	}()
	select {
	case said := <-ready:
		if said != "" {
			t.Fatal("snmpd: ", said)
		}
	case <-time.After(time.Minute):
		t.Fatal("snmpd does not come up")
	}
	return addr
}

// netSNMP runs a program of net-snmp and gives what it printed, by OID.
func netSNMP(t *testing.T, program string, args ...string) map[string]string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), tool(t, program, "snmp"), append([]string{"-m", "", "-On", "-Ox", "-Ot", "-Oe"}, args...)...)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(cmd, err)
	}
	values := map[string]string{}
	name := ""
	for line := range bytes.Lines(out) {
		s := strings.TrimRight(string(line), " \n")
		if before, after, ok := strings.Cut(s, " = "); ok && strings.HasPrefix(s, ".") {
			if name = before[1:]; !strings.HasPrefix(after, "No more variables left") {
				values[name] = after
			}
			continue
		}
		values[name] += " " + s // a long string goes on in the next line
	}
	return values
}

// printed is v as net-snmp prints it under the options above.
func printed(v snmp.Value) string {
	n, _ := v.Int64()
	u, _ := v.Uint64()
	b, _ := v.Bytes()
	switch v.Kind {
	case snmp.Integer:
		return fmt.Sprintf("INTEGER: %d", n)
	case snmp.TimeTicks:
		return strconv.FormatUint(u, 10)
	case snmp.Counter32, snmp.Gauge32, snmp.Counter64:
		return fmt.Sprintf("%v: %d", v.Kind, u)
	case snmp.OctetString:
		if len(b) == 0 {
			return `""`
		}
		return strings.TrimRight(fmt.Sprintf("Hex-STRING: % X", b), " ")
	case snmp.ObjectID:
		o, _ := v.OID()
		return "OID: ." + o.String()
	case snmp.IPAddress:
		a, _ := v.Addr()
		return "IpAddress: " + a.String()
	case snmp.Opaque:
		return "OPAQUE: " + hex.EncodeToString(b)
	case snmp.NoSuchObject:
		return "No Such Object available on this agent at this OID"
	case snmp.NoSuchInstance:
		return "No Such Instance currently exists at this OID"
	}
	return v.String()
}

// trees hold values that do not change by themselves, for the most part.
var trees = []string{
	"1.3.6.1.2.1.1", "1.3.6.1.2.1.2.2", "1.3.6.1.2.1.4.20", "1.3.6.1.2.1.4.34", "1.3.6.1.2.1.31.1",
	"1.3.6.1.2.1.88", "1.3.6.1.4.1.8072.9999", "1.3.6.1.6.3.15", "1.3.6.1.6.3.16",
}

func walkTrees(t *testing.T, addr netip.AddrPort) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, tree := range trees {
		maps.Copy(all, netSNMP(t, "snmpbulkwalk", "-v2c", "-cpublic", addr.String(), "."+tree))
	}
	return all
}

// What net-snmp's own programs read from its daemon is what we read: the same
// rows, the same values. What changes between two walks of theirs is left out.
func TestWalkAgainstNetSNMP(t *testing.T) {
	addr := startSNMPD(t)
	var columns []snmp.OID
	for _, tree := range trees {
		columns = append(columns, snmp.MustOID(tree))
	}
	creds := maps.Clone(snmpdUsers)
	creds["version 1"] = snmp.Credentials{Version: "1", Community: "public"}
	creds["version 2c"] = public
	for name, cred := range creds {
		t.Run(name, func(t *testing.T) {
			before := walkTrees(t, addr)
			got := dial(t, target{addr: addr}, cred, snmp.Options{}).Walk(t.Context(), columns...)
			after := walkTrees(t, addr)
			if got.Result != snmp.Complete || got.Err != nil {
				t.Fatalf("got %v, %v", got.Result, got.Err)
			}
			equal := 0
			ours := map[string]bool{}
			for _, r := range got.Rows {
				o := r.OID.String()
				ours[o] = true
				switch want, known := before[o]; {
				case !known && after[o] == "":
					t.Errorf("%s = %s: net-snmp has no such row", o, r.Value)
				case want == after[o] && printed(r.Value) != want:
					t.Errorf("%s: got %s, net-snmp %s", o, printed(r.Value), want)
				case want == after[o]:
					equal++
				}
			}
			for o, value := range before {
				counter64 := cred.Version == "1" && strings.HasPrefix(value, "Counter64")
				if after[o] == value && !ours[o] && !counter64 {
					t.Errorf("%s = %s: missing", o, value)
				}
			}
			if equal < 100 {
				t.Errorf("only %d values compared", equal)
			}
		})
	}
}

func TestGetAgainstNetSNMP(t *testing.T) {
	addr := startSNMPD(t)
	const edges = "1.3.6.1.4.1.8072.9999.9999"
	oids := []snmp.OID{
		sysName, sysDescr, snmp.MustOID("1.3.6.1.2.1.1.6.0"), snmp.MustOID("1.3.6.1.2.1.1.99.0"), ifDescr.Append(4000000),
		snmp.MustOID(edges + ".1.0"), snmp.MustOID(edges + ".3.0"), snmp.MustOID(edges + ".4.0"), snmp.MustOID("1.3.6.1.6.3.10.2.1.1.0"),
	}
	args := []string{"-v2c", "-cpublic", addr.String()}
	for _, o := range oids {
		args = append(args, "."+o.String())
	}
	want := netSNMP(t, "snmpget", args...)
	c := dial(t, target{addr: addr}, snmpdUsers["SHA-512, AES-256"], snmp.Options{})
	rows, err := c.Get(t.Context(), oids...)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if o := r.OID.String(); printed(r.Value) != want[o] {
			t.Errorf("%s: got %s, net-snmp %s", o, printed(r.Value), want[o])
		}
	}
	e, err := snmp.Discover(t.Context(), addr, snmp.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := printed(snmp.ValueOf(snmp.OctetString, e.ID)); got != want["1.3.6.1.6.3.10.2.1.1.0"] {
		t.Errorf("engine %s, net-snmp %s", got, want["1.3.6.1.6.3.10.2.1.1.0"])
	}
	if pen, ok := e.Enterprise(); !ok || pen != 8072 { // net-snmp's number at IANA
		t.Errorf("got enterprise %d, %v", pen, ok)
	}
}

// The daemon's own words for each wrong credential.
func TestWordsOfNetSNMP(t *testing.T) {
	addr := startSNMPD(t)
	for name, good := range snmpdUsers {
		for _, tt := range wrong {
			cred := good
			tt.change(&cred)
			if cred.Validate() != nil || cred == good {
				continue // no privacy to get wrong
			}
			t.Run(name+", wrong "+tt.name, func(t *testing.T) {
				t.Parallel()
				if _, err := snmp.Dial(t.Context(), addr, cred, quick); !errors.Is(err, tt.want) {
					t.Errorf("got %v, want %v", err, tt.want)
				}
			})
		}
	}
	t.Run("level", func(t *testing.T) {
		low := snmpdUsers["SHA-512, AES-256"]
		low.Privacy, low.PrivacySecret = "", ""
		if _, err := snmp.Dial(t.Context(), addr, low, quick); !errors.Is(err, snmp.ErrRefused) {
			t.Errorf("without the privacy that its rule asks for: got %v", err)
		}
	})
	t.Run("community", func(t *testing.T) {
		if _, err := snmp.Dial(t.Context(), addr, snmp.Credentials{Version: "2c", Community: "wrong"}, quick); !errors.Is(err, snmp.ErrNoResponse) {
			t.Errorf("got %v", err)
		}
	})
}
