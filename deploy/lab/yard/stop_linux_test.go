package yard

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os/exec"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"boundwalk/deploy/lab/netns"
)

// silent opens an SNMP port that takes every request and never answers, and
// counts them.
func silent(t *testing.T, host *netns.Namespace, addr netip.Addr) *atomic.Int64 {
	t.Helper()
	var conn net.PacketConn
	var err error
	host.Do(func() { conn, err = net.ListenPacket("udp4", addr.String()+":161") })
	if err != nil {
		t.Fatal(err)
	}
	n := &atomic.Int64{}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		b := make([]byte, 2048)
		for {
			if _, _, err := conn.ReadFrom(b); err != nil {
				return
			}
			n.Add(1)
		}
	}()
	t.Cleanup(func() {
		conn.Close()
		<-ended
	})
	return n
}

// FC-09: twelve silent agents and three good ones. The run ends well within a
// minute with the good ones whole. Then one is stopped by TERM in its middle: it
// ends within 5 s and is marked as aborted; the next compares with the last
// whole one and misses nobody.
func TestFC09SilentAgentsAndStop(t *testing.T) {
	netns.Need(t, "snmpd")
	y := newYard(t, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24)
	plan := "site: {name: Tern Quay, timezone: Europe/Dublin}\nnetworks:\n  yard: {subnet: 203.0.113.0/27}\n" +
		"sources: {mdns: false, ws_discovery: false, reverse_dns: false}\naccess:\n  yard: {snmp: v2c, community: file:yard.community}\ndevices:\n" +
		"  yard-switch: {role: switch, mac: \"" + hostMAC(2) + "\", address: 203.0.113.2, access: yard}\n" +
		"  server: {role: server, mac: \"" + hostMAC(auditor) + "\", address: 203.0.113.9}\n"
	var asked []*atomic.Int64
	for k := 11; k <= 24; k++ {
		plan += fmt.Sprintf("  box-%d: {role: camera, mac: %q, address: 203.0.113.%d, access: yard}\n", k, hostMAC(k), k)
		if k == 12 || k == 13 {
			y.agentOn(y.hosts[k], hostAddr(k).Addr(), fmt.Sprintf("box-%d", k))
			continue
		}
		asked = append(asked, silent(t, y.hosts[k], hostAddr(k).Addr()))
	}
	y.Write("plan.yaml", plan)
	y.Write("yard.community", "quay\n")
	y.startAgent()
	if len(asked) != 12 {
		t.Fatalf("%d silent agents, want 12", len(asked))
	}

	start := time.Now()
	r := y.Run()
	if took := time.Since(start); took > time.Minute {
		t.Errorf("the run took %v, want under a minute", took)
	}
	for _, good := range []string{"yard-switch", "box-12", "box-13"} {
		if got := r.Looked(good, "snmp"); !strings.HasPrefix(got, "complete") {
			t.Errorf("%s was looked at: %q, want complete", good, got)
		}
	}
	for k := 14; k < 25; k++ {
		if got := r.Looked(fmt.Sprintf("box-%d", k), "snmp"); !strings.HasPrefix(got, "no-answer") {
			t.Errorf("box-%d was looked at: %q, want no-answer", k, got)
		}
	}
	for i, n := range asked {
		if n.Load() == 0 || n.Load() > 12 {
			t.Errorf("silent agent %d was sent %d requests", i, n.Load())
		}
	}
	before := r.Keys()

	y.stop(asked[0])
	var rows []struct {
		ID         int
		State, Why string
	}
	y.JSON(&rows, "show", "runs")
	if len(rows) != 2 || rows[0].State != "aborted" || rows[1].State != "complete" {
		t.Fatalf("runs: %+v", rows)
	}
	r = y.Run()
	if got := r.Keys(); !slices.Equal(got, before) {
		t.Errorf("after the aborted run it finds %v, before it found %v", got, before)
	}
}

// stop starts a run, and sends TERM once it waits for a silent agent.
func (y *yard) stop(asked *atomic.Int64) {
	y.t.Helper()
	cmd := y.Command("run", "--json")
	var out, words bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &words
	was := asked.Load()
	if err := cmd.Start(); err != nil {
		y.t.Fatal(err)
	}
	netns.Until(y.t, "the silent agent is asked", func() bool { return asked.Load() > was })
	start := time.Now()
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil { // ip netns exec has become the program
		y.t.Fatal(err)
	}
	err := cmd.Wait()
	if took := time.Since(start); took > 5*time.Second {
		y.t.Errorf("it took %v to end, want under 5 s", took)
	}
	e, ok := errors.AsType[*exec.ExitError](err)
	if !ok || e.ExitCode() != 1 || !strings.Contains(words.String(), "stopped before its end") || out.Len() > 0 {
		y.t.Errorf("it ended with %v, %q, and reported %q", err, words.String(), out.String())
	}
}
