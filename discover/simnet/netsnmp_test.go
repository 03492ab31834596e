package simnet_test

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/gosnmp/gosnmp"

	"boundwalk/discover/simnet"
	"boundwalk/discover/simnet/simnettest"
)

// tool finds a program of Debian, which is the oracle here: skipped where it is
// not installed, but not in CI.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	switch {
	case err == nil:
		return path
	case os.Getenv("CI") == "true":
		t.Fatalf("%s must be installed in CI: %v", name, err)
	default:
		t.Skipf("no %s: %v", name, err)
	}
	return ""
}

// netsnmp runs a program of net-snmp without MIBs and with plain values.
func netsnmp(t testing.TB, name string, args ...string) (stdout, stderr string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), tool(t, name), append([]string{"-m", "", "-On", "-Oe", "-Ox", "-Ot", "-r", "5"}, args...)...)
	home := t.TempDir()
	cmd.Env = []string{"HOME=" + home, "SNMP_PERSISTENT_DIR=" + home, "SNMPCONFPATH=" + home, "LC_ALL=C"}
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		errs.WriteString(err.Error())
	}
	// It says so when it makes its directories.
	rest := slices.DeleteFunc(strings.SplitAfter(errs.String(), "\n"), func(l string) bool {
		return strings.TrimSpace(l) == "" || strings.HasPrefix(l, "Created directory: ")
	})
	return out.String(), strings.Join(rest, "")
}

// oneLine joins the lines over which net-snmp spreads hexadecimal text.
func oneLine(out string) []string {
	var lines []string
	for l := range strings.Lines(out) {
		l = strings.TrimRight(l, " \r\n")
		if n := len(lines); n > 0 && !strings.HasPrefix(l, ".") {
			lines[n-1] += " " + l
			continue
		}
		lines = append(lines, l)
	}
	return lines
}

// recorded is a line of a recording, read here once more and apart from the
// code under test.
type recorded struct {
	name []uint64
	line string // as net-snmp would print it
	wide bool   // Counter64
}

func readPlainly(t *testing.T, text string) []recorded {
	t.Helper()
	var out []recorded
	for l := range strings.Lines(text) {
		f := strings.SplitN(strings.TrimSuffix(l, "\n"), "|", 3)
		var r recorded
		for part := range strings.SplitSeq(f[0], ".") {
			n, err := strconv.ParseUint(part, 10, 32)
			if err != nil {
				t.Fatal(err)
			}
			r.name = append(r.name, n)
		}
		r.wide = f[1] == "70"
		r.line = "." + f[0] + " = " + printed(t, f[1], f[2])
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b recorded) int { return slices.Compare(a.name, b.name) })
	return out
}

// printed is a value in net-snmp's words.
func printed(t *testing.T, tag, value string) string {
	t.Helper()
	if strings.HasSuffix(tag, "x") {
		raw, err := hex.DecodeString(value)
		if err != nil {
			t.Fatal(err)
		}
		value = string(raw)
	}
	switch tag {
	case "2":
		return "INTEGER: " + value
	case "4", "4x":
		if value == "" {
			return `""`
		}
		return fmt.Sprintf("Hex-STRING: % X", value)
	case "6":
		return "OID: ." + value
	case "64x":
		return fmt.Sprintf("IpAddress: %d.%d.%d.%d", value[0], value[1], value[2], value[3])
	case "64":
		return "IpAddress: " + value
	case "65":
		return "Counter32: " + value
	case "66":
		return "Gauge32: " + value
	case "67":
		return value // with -Ot
	case "70":
		return "Counter64: " + value
	}
	t.Fatalf("tag %s", tag)
	return ""
}

// small has a row of each type, the ends of each range, and names that sort
// otherwise as text.
const small = `1.0.8802.1.1.2.1.3.3.0|4|quay-switch
1.2.840.10036.4.5.1.1.3|2|-1
1.3.6.1.2.1.1.1.0|4x|00ff0d0a41
1.3.6.1.2.1.1.2.0|6|1.3.6.1.4.1.32473.4294967295
1.3.6.1.2.1.1.3.0|67|4294967295
1.3.6.1.2.1.1.6.0|4|
1.3.6.1.2.1.2.2.1.5.9|66|4294967295
1.3.6.1.2.1.2.2.1.5.10|66|0
1.3.6.1.2.1.2.2.1.7.9|2|2147483647
1.3.6.1.2.1.2.2.1.7.10|2|-2147483648
1.3.6.1.2.1.2.2.1.7.11|2|-129
1.3.6.1.2.1.2.2.1.7.12|2|128
1.3.6.1.2.1.2.2.1.10.9|65|2147483648
1.3.6.1.2.1.4.20.1.1.203.0.113.2|64|203.0.113.2
1.3.6.1.2.1.4.20.1.3.203.0.113.2|64x|ffffff80
1.3.6.1.2.1.31.1.1.1.6.9|70|18446744073709551615
1.3.6.1.2.1.31.1.1.1.6.10|70|255
1.3.6.1.2.1.31.1.1.1.18.9|4|winter-cam
1.3.111.2.802.3.1.8.1.1.1.15.1.1|2|12950
2.999.3|2|1
`

func load(t testing.TB, text string) []simnet.Row {
	t.Helper()
	rows, err := simnet.LoadRecording(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func newAgent(t testing.TB, opts simnet.AgentOptions) (*simnet.Agent, netip.AddrPort) {
	t.Helper()
	a, err := simnet.NewAgent(opts)
	if err != nil {
		t.Fatal(err)
	}
	return a, simnettest.Start(t, a)
}

func lines(rows []recorded, wide bool) []string {
	var out []string
	for _, r := range rows {
		if wide || !r.wide {
			out = append(out, r.line)
		}
	}
	return out
}

// withoutEnd cuts where the view ended: net-snmp prints each end marker, and
// how many an agent repeats is its own affair (RFC 3416, 4.2.3).
func withoutEnd(got []string) []string {
	const end = "No more variables left in this MIB View (It is past the end of the MIB tree)"
	if i := slices.IndexFunc(got, func(l string) bool { return strings.HasSuffix(l, end) }); i >= 0 {
		return got[:i]
	}
	return got
}

func sameLines(t *testing.T, got, want []string) {
	t.Helper()
	for i := range max(len(got), len(want)) {
		var g, w string
		if i < len(got) {
			g = got[i]
		}
		if i < len(want) {
			w = want[i]
		}
		if g != w {
			t.Fatalf("row %d of %d:\n got %q of %d\nwant %q", i+1, len(want), g, len(got), w)
		}
	}
}

// Oracle: net-snmp's snmpwalk and snmpbulkwalk.
func TestNetSNMPReadsEveryType(t *testing.T) {
	want := readPlainly(t, small)
	a, at := newAgent(t, simnet.AgentOptions{Communities: []string{"yard"}, Rows: load(t, small)})
	t.Run("version 1 without the 64-bit rows", func(t *testing.T) {
		out, errs := netsnmp(t, "snmpwalk", "-v1", "-cyard", at.String(), ".1")
		sameLines(t, oneLine(out), slices.DeleteFunc(lines(want, false), func(l string) bool { return strings.HasPrefix(l, ".2.") }))
		if errs != "" {
			t.Error(errs)
		}
	})
	t.Run("version 2c by GETNEXT", func(t *testing.T) {
		out, errs := netsnmp(t, "snmpwalk", "-v2c", "-cyard", at.String(), ".1")
		sameLines(t, withoutEnd(oneLine(out)), slices.DeleteFunc(lines(want, true), func(l string) bool { return strings.HasPrefix(l, ".2.") }))
		if errs != "" {
			t.Error(errs)
		}
	})
	t.Run("version 2c by GET", func(t *testing.T) {
		for _, r := range want {
			name, _, _ := strings.Cut(r.line, " ")
			out, errs := netsnmp(t, "snmpget", "-v2c", "-cyard", at.String(), name)
			sameLines(t, oneLine(out+errs), []string{r.line})
		}
	})
	if c := a.Counts(); c.Set != 0 || c.Malformed != 0 || c.Strangers != 0 {
		t.Errorf("counts %+v", c)
	}
}

var (
	auths = []struct {
		word     string
		protocol gosnmp.SnmpV3AuthProtocol
	}{
		{"MD5", gosnmp.MD5}, {"SHA", gosnmp.SHA}, {"SHA-224", gosnmp.SHA224},
		{"SHA-256", gosnmp.SHA256}, {"SHA-384", gosnmp.SHA384}, {"SHA-512", gosnmp.SHA512},
	}
	privs = []struct {
		word     string
		protocol gosnmp.SnmpV3PrivProtocol
	}{
		{"", gosnmp.NoPriv}, {"DES", gosnmp.DES}, {"AES", gosnmp.AES}, {"AES-192", gosnmp.AES192}, {"AES-256", gosnmp.AES256},
	}
)

// Oracle: net-snmp's snmpbulkwalk, with every pair of protocols that Debian
// builds it with.
func TestNetSNMPReadsVersion3(t *testing.T) {
	want := slices.DeleteFunc(lines(readPlainly(t, small), true), func(l string) bool { return strings.HasPrefix(l, ".2.") })
	users := []simnet.User{{Name: "open"}}
	for _, au := range auths {
		for _, pr := range privs {
			users = append(users, simnet.User{Name: au.word + "+" + pr.word, Auth: au.protocol, AuthPass: "rising tide", Priv: pr.protocol, PrivPass: "neap tide"})
		}
	}
	a, at := newAgent(t, simnet.AgentOptions{Users: users, Rows: load(t, small), Boots: 7})
	walk := func(t *testing.T, args ...string) {
		t.Helper()
		out, errs := netsnmp(t, "snmpbulkwalk", append(args, at.String(), ".1")...)
		sameLines(t, withoutEnd(oneLine(out)), want)
		if errs != "" {
			t.Error(errs)
		}
	}
	t.Run("open", func(t *testing.T) { walk(t, "-v3", "-lnoAuthNoPriv", "-uopen") })
	for _, au := range auths {
		for _, pr := range privs {
			name := au.word + "+" + pr.word
			t.Run(name, func(t *testing.T) {
				args := []string{"-v3", "-u" + name, "-lauthNoPriv", "-a" + au.word, "-Arising tide"}
				if pr.word != "" {
					args = append(args, "-lauthPriv", "-x"+pr.word, "-Xneap tide")
				}
				walk(t, args...)
				if a.Counts().Users[name] == 0 {
					t.Error("the agent counted no request of this user")
				}
			})
		}
	}
}

// Oracle: the words of net-snmp's snmpget for the reports of RFC 3414, 3.2.
func TestNetSNMPNamesReports(t *testing.T) {
	users := []simnet.User{
		{Name: "open"},
		{Name: "audit", Auth: gosnmp.SHA256, AuthPass: "rising tide"},
		{Name: "private", Auth: gosnmp.SHA256, AuthPass: "rising tide", Priv: gosnmp.AES, PrivPass: "neap tide"},
	}
	a, at := newAgent(t, simnet.AgentOptions{Users: users, Rows: load(t, small), Engine: "\x80\x00\x7e\xd9\x04quay"})
	for _, c := range []struct {
		name, args, want, report string
	}{
		{"unknown user", "-unobody -lauthNoPriv -aSHA-256 -Arising!tide", "Unknown user name", ".1.3.6.1.6.3.15.1.1.3.0"},
		{"wrong password", "-uaudit -lauthNoPriv -aSHA-256 -Aspring!tide", "Authentication failure (incorrect password, community or key)", ".1.3.6.1.6.3.15.1.1.5.0"},
		{"wrong hash", "-uaudit -lauthNoPriv -aMD5 -Arising!tide", "Authentication failure (incorrect password, community or key)", ".1.3.6.1.6.3.15.1.1.5.0"},
		{"no privacy for this user", "-uaudit -lauthPriv -aSHA-256 -Arising!tide -xAES -Xneap!tide", "Unsupported security level", ".1.3.6.1.6.3.15.1.1.1.0"},
		{"no authentication for this user", "-uopen -lauthNoPriv -aSHA-256 -Arising!tide", "Unsupported security level", ".1.3.6.1.6.3.15.1.1.1.0"},
		{"unknown context", "-uaudit -lauthNoPriv -aSHA-256 -Arising!tide -nbridge9", "Bad context specified", ".1.3.6.1.6.3.12.1.5.0"},
		{"stale clock is put right", "-uaudit -lauthNoPriv -aSHA-256 -Arising!tide -e80007ed90471756179 -Z3,9999", "= 4294967295", ".1.3.6.1.6.3.15.1.1.2.0"},
		{"wrong privacy password is silence", "-uprivate -lauthPriv -aSHA-256 -Arising!tide -xAES -Xspring!tide -r0 -t0.3", "Timeout", ""},
		{"authentication is asked of its user", "-uaudit -lnoAuthNoPriv", "authorizationError", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := a.Counts()
			args := append([]string{"-v3"}, strings.Fields(c.args)...)
			for i := range args {
				args[i] = strings.ReplaceAll(args[i], "!", " ")
			}
			out, errs := netsnmp(t, "snmpget", append(args, at.String(), ".1.3.6.1.2.1.1.3.0")...)
			if !strings.Contains(out+errs, c.want) {
				t.Errorf("snmpget: %q %q, want %q", out, errs, c.want)
			}
			after := a.Counts()
			if c.report != "" && after.Reports[c.report] <= before.Reports[c.report] {
				t.Errorf("reports %v", after.Reports)
			}
		})
	}
}

// Oracle: the words of net-snmp's snmpset.
func TestNetSNMPCannotSet(t *testing.T) {
	a, at := newAgent(t, simnet.AgentOptions{
		Communities: []string{"yard"}, Rows: load(t, small),
		Users: []simnet.User{{Name: "audit", Auth: gosnmp.SHA, AuthPass: "rising tide", Priv: gosnmp.AES, PrivPass: "neap tide"}},
	})
	for i, c := range []struct{ args, want string }{
		{"-v1 -cyard", "readOnly"},
		{"-v2c -cyard", "notWritable"},
		{"-v3 -uaudit -lauthPriv -aSHA -Arising!tide -xAES -Xneap!tide", "notWritable"},
		{"-v2c -cwrong -r0 -t0.3", "Timeout"},
	} {
		args := strings.Fields(c.args)
		for i := range args {
			args[i] = strings.ReplaceAll(args[i], "!", " ")
		}
		_, errs := netsnmp(t, "snmpset", append(args, at.String(), ".1.3.6.1.2.1.1.6.0", "s", "here")...)
		if !strings.Contains(errs, c.want) {
			t.Errorf("snmpset %s: %q, want %q", c.args, errs, c.want)
		}
		if got := a.Counts().Set; got != i+1 {
			t.Errorf("%d SETs counted, want %d", got, i+1)
		}
	}
	out, _ := netsnmp(t, "snmpget", "-v2c", "-cyard", at.String(), ".1.3.6.1.2.1.1.6.0")
	sameLines(t, oneLine(out), []string{`.1.3.6.1.2.1.1.6.0 = ""`})
}

// Oracle: snmpbulkwalk, on each recording of a real device.
func TestNetSNMPReadsRecordings(t *testing.T) {
	paths := simnettest.Recordings(t)
	if len(paths) == 0 {
		t.Skip("no recordings on this machine")
	}
	for _, path := range paths {
		t.Run(baseName(path), func(t *testing.T) {
			rows, err := simnet.ReadRecording(path)
			if err != nil {
				t.Fatal(err)
			}
			want := readPlainly(t, simnettest.Text(t, path))
			if len(rows) != len(want) {
				t.Fatalf("%d rows of %d", len(rows), len(want))
			}
			_, at := newAgent(t, simnet.AgentOptions{Communities: []string{"yard"}, Rows: rows})
			out, errs := netsnmp(t, "snmpbulkwalk", "-v2c", "-cyard", "-Cr40", at.String(), ".1")
			sameLines(t, withoutEnd(oneLine(out)), lines(want, true))
			if errs != "" {
				t.Error(errs)
			}
		})
	}
}
