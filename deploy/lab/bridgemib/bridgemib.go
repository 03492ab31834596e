// Package bridgemib makes a test's own program an extension of snmpd
// (snmpd.conf(5), pass_persist): Debian's agent tells neither of the kernel's bridge nor
// of power over Ethernet. A package's TestMain calls [Extend] first; the lines
// of [Bridge] and [File] belong into the agent's configuration.
package bridgemib

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// extensionVar says what the program is to tell: bridge, or the name of a file.
const extensionVar = "BOUNDWALK_LAB_EXTENSION"

// Extend serves snmpd where this process was started by it, and reports whether
// it was: then there is nothing more to do.
func Extend() bool {
	switch what := os.Getenv(extensionVar); what {
	case "":
		return false
	case "bridge":
		serve(os.Stdin, os.Stdout, bridgeRows)
	default:
		serve(os.Stdin, os.Stdout, func() []row { return fileRows(what) })
	}
	return true
}

// Bridge is the line by which an agent tells BRIDGE-MIB (RFC 4188) of br0, the
// kernel's bridge in its namespace.
func Bridge(t testing.TB) string {
	t.Helper()
	return line(t, ".1.3.6.1.2.1.17", "bridge")
}

// File is the line by which an agent tells the rows of a file below the arc. Each
// of its lines is an OID, a type in snmpd's words (integer, gauge, string) and a
// value. It is read for each request, so a test may replace it at any time.
func File(t testing.TB, arc, path string) string {
	t.Helper()
	return line(t, arc, path)
}

func line(t testing.TB, arc, what string) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return "pass_persist " + arc + " /usr/bin/env " + extensionVar + "=" + what + " " + self
}

// fileRows reads a file of rows. One that is not there has none.
func fileRows(path string) []row {
	text, _ := os.ReadFile(path)
	var rows []row
	for line := range strings.Lines(string(text)) {
		if f := strings.SplitN(strings.TrimSpace(line), " ", 3); len(f) == 3 {
			rows = append(rows, row{parseOID(f[0]), f[1], f[2]})
		}
	}
	slices.SortFunc(rows, func(a, b row) int { return slices.Compare(a.oid, b.oid) })
	return rows
}

// row is an object with its type and value in the words of snmpd.conf(5), pass_persist.
type row struct {
	oid         []int
	kind, value string
}

// serve answers snmpd until it hangs up, with the rows as they are at each request.
func serve(r io.Reader, w io.Writer, now func() []row) {
	in := bufio.NewScanner(r)
	for in.Scan() {
		switch in.Text() {
		case "PING":
			fmt.Fprintln(w, "PONG")
			continue
		case "":
			return
		}
		next := in.Text() == "getnext"
		if !in.Scan() {
			return
		}
		asked := parseOID(in.Text())
		rows := now()
		i, exact := slices.BinarySearchFunc(rows, asked, func(r row, oid []int) int { return slices.Compare(r.oid, oid) })
		if next && exact {
			i++
		}
		if i == len(rows) || !next && !exact {
			fmt.Fprintln(w, "NONE")
			continue
		}
		fmt.Fprintf(w, "%s\n%s\n%s\n", formatOID(rows[i].oid), rows[i].kind, rows[i].value)
	}
}

// bridgeRows reads what the kernel knows, by BRIDGE-MIB (RFC 4188).
func bridgeRows() []row {
	bridge := []int{1, 3, 6, 1, 2, 1, 17}
	var rows []row
	add := func(kind string, value any, oid ...int) {
		rows = append(rows, row{slices.Concat(bridge, oid), kind, fmt.Sprint(value)})
	}
	number := map[string]int{} // interface -> bridge port
	ports, _ := filepath.Glob("/sys/class/net/*/brport/port_no")
	for _, file := range ports {
		dir := filepath.Dir(filepath.Dir(file))
		n, index := sysNumber(file), sysNumber(filepath.Join(dir, "ifindex"))
		number[filepath.Base(dir)] = n
		add("integer", n, 1, 4, 1, 1, n)     // dot1dBasePort
		add("integer", index, 1, 4, 1, 2, n) // dot1dBasePortIfIndex
	}
	add("integer", len(ports), 1, 2, 0) // dot1dBaseNumPorts
	out, _ := exec.Command("bridge", "-j", "fdb", "show", "br", "br0").Output()
	var fdb []struct{ MAC, IfName, State string }
	_ = json.Unmarshal(out, &fdb) // nothing learned yet gives nothing
	for _, e := range fdb {
		var mac []int
		for _, x := range strings.Split(e.MAC, ":") {
			n, _ := strconv.ParseInt(x, 16, 16)
			mac = append(mac, int(n))
		}
		port, status := number[e.IfName], 3 // learned(3)
		if e.State == "permanent" {
			status = 4 // self(4)
		}
		if port == 0 || mac[0]&1 == 1 || slices.ContainsFunc(rows, func(r row) bool {
			return slices.Equal(r.oid, slices.Concat(bridge, []int{4, 3, 1, 1}, mac))
		}) {
			continue
		}
		add("octet", strings.ReplaceAll(e.MAC, ":", " "), append([]int{4, 3, 1, 1}, mac...)...)
		add("integer", port, append([]int{4, 3, 1, 2}, mac...)...)
		add("integer", status, append([]int{4, 3, 1, 3}, mac...)...)
	}
	slices.SortFunc(rows, func(a, b row) int { return slices.Compare(a.oid, b.oid) })
	return rows
}

// sysNumber reads a number of sysfs, in any base.
func sysNumber(path string) int {
	text, _ := os.ReadFile(path)
	n, _ := strconv.ParseInt(strings.TrimSpace(string(text)), 0, 64)
	return int(n)
}

func parseOID(s string) []int {
	var out []int
	for _, x := range strings.Split(strings.Trim(s, "."), ".") {
		n, _ := strconv.Atoi(x)
		out = append(out, n)
	}
	return out
}

func formatOID(oid []int) string {
	var b strings.Builder
	for _, n := range oid {
		fmt.Fprintf(&b, ".%d", n)
	}
	return b.String()
}
