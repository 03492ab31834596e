package mib_test

import (
	"bufio"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/mib"
	"boundwalk/discover/snmp"
	"boundwalk/inventory"
)

// startSNMPD runs net-snmp's daemon on a port of 127.0.0.1 until the test ends.
// Where CI=true it must be there.
func startSNMPD(t *testing.T) netip.AddrPort {
	t.Helper()
	daemon, err := exec.LookPath("/usr/sbin/snmpd")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("no snmpd (Debian: snmpd)")
		}
		t.Skip("no snmpd (Debian: snmpd)")
	}
	conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
	must(t, err)
	addr := conn.LocalAddr().(*net.UDPAddr).AddrPort()
	conn.Close() // for the daemon to take
	dir := t.TempDir()
	conf := filepath.Join(dir, "snmpd.conf")
	must(t, os.WriteFile(conf, []byte("createUser audit SHA-256 authpass256 AES privpass128\nrouser audit priv\nsysName quay-gateway\n"), 0o600))
	cmd := exec.Command(daemon, "-f", "-Lo", "-C", "-c", conf, "-p", filepath.Join(dir, "pid"), "udp:"+addr.String())
	cmd.Env = append(os.Environ(), "SNMP_PERSISTENT_DIR="+dir, "MIBS=")
	out, err := cmd.StdoutPipe()
	must(t, err)
	must(t, cmd.Start())
	up, drained := make(chan bool, 1), make(chan struct{})
	t.Cleanup(func() {
		cmd.Process.Kill()
		<-drained
		cmd.Wait()
	})
	go func() {
		defer close(drained)
		for sc := bufio.NewScanner(out); sc.Scan(); {
			if strings.HasPrefix(sc.Text(), "NET-SNMP version") { // its sockets are open
				up <- true
			}
		}
		close(up)
	}()
	if !<-up {
		t.Fatal("snmpd does not come up")
	}
	return addr
}

// What a real agent says of this machine must be what its kernel says.
func TestSNMPD(t *testing.T) {
	c, err := snmp.Dial(t.Context(), startSNMPD(t), snmp.Credentials{
		Version: "3", User: "audit", Auth: "sha256", AuthSecret: "authpass256", Privacy: "aes", PrivacySecret: "privpass128",
	}, snmp.Options{})
	must(t, err)
	defer c.Close()
	got := mib.Collect(t.Context(), c, mib.Request{Device: "quay-gateway"})
	checkCoverage(t, got)
	if got.Err != nil {
		t.Fatal(got.Err)
	}
	ag := got.Agent
	equal(t, "name", ag.System.Name, "quay-gateway")
	equal(t, "version", ag.Version, "v3")
	if !ag.Engine.Known || len(ag.Engine.ID) < 5 || ag.Engine.Boots == 0 {
		t.Errorf("engine %+v", ag.Engine)
	}

	kernel, err := net.Interfaces()
	must(t, err)
	equal(t, "interfaces", len(ag.Interfaces), len(kernel))
	for _, k := range kernel {
		f := interfaceAt(t, ag, inventory.IfIndex(k.Index))
		equal(t, "name", f.Name, k.Name)
		equal(t, k.Name+" has a MAC", f.MAC.IsValid(), len(k.HardwareAddr) == 6 && inventory.MAC(k.HardwareAddr).IsValid())
		if f.MAC.IsValid() {
			equal(t, k.Name, f.MAC, inventory.MAC(k.HardwareAddr))
		}
		equal(t, k.Name+" admin", f.AdminUp != nil && *f.AdminUp, k.Flags&net.FlagUp != 0)
		checkAddresses(t, ag, k)
	}

	if d := ag.Date; d == nil || !d.Zone {
		t.Errorf("date %+v", d)
	} else if off := d.Time.Sub(d.Read).Abs(); off > time.Minute { // one machine
		t.Errorf("date off by %v", off)
	}
	proc, err := os.ReadFile("/proc/uptime")
	must(t, err)
	up, err := strconv.ParseFloat(strings.Fields(string(proc))[0], 64)
	must(t, err)
	if ag.System.HostUp == nil || float64(*ag.System.HostUp)/100 > up || *ag.System.HostUp < *ag.System.UpTime {
		t.Errorf("host up %v, kernel says %v s", ag.System.HostUp, up)
	}
	if len(ag.Storage) == 0 {
		t.Error("no storage")
	}
}

func checkAddresses(t *testing.T, ag inventory.Agent, k net.Interface) {
	t.Helper()
	addrs, err := k.Addrs()
	must(t, err)
	for _, a := range addrs {
		want := netip.MustParsePrefix(a.String())
		if want.Addr().IsLinkLocalUnicast() {
			continue // told with its zone
		}
		found := false
		for _, x := range ag.Addresses {
			found = found || x.Addr == want.Addr() && x.Prefix == want.Bits() && x.Index == inventory.IfIndex(k.Index)
		}
		if !found {
			t.Errorf("%s: no %v among %+v", k.Name, want, ag.Addresses)
		}
	}
}
