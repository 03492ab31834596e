package diff_test

import (
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

func restartSite() *inventory.Plan {
	return site(theSwitch(8), camera("cam-1", 0x31, "sw/1"), camera("cam-2", 0x32, "sw/2"), onPort("ap", inventory.AccessPoint, 0x21, "sw/3"),
		onPort("srv", inventory.Server, 0x22, "sw/4"), onPort("srv-2", inventory.Server, 0x23, "sw/5"))
}

// up makes the device say that it started so long ago.
func up(s *inventory.Snapshot, name string, d time.Duration) {
	x, _ := s.Device(name)
	x.UpTime = &inventory.UpTime{Ticks: uint32(d / (10 * time.Millisecond)), Read: s.Finished, Up: d}
}

func TestRestarts(t *testing.T) {
	plan := restartSite()
	run := func(plan *inventory.Plan, ups map[string]time.Duration) []diff.Finding {
		m := newMemory()
		var fs []diff.Finding
		for k := range 2 {
			s := seen(plan, noon.Add(time.Duration(k)*time.Hour))
			for _, d := range plan.Devices {
				u := time.Duration(k+100) * time.Hour
				if x, ok := ups[d.Name]; ok && k == 1 {
					u = x
				}
				up(s, d.Name, u)
			}
			fs = m.run(plan, s)
		}
		return fs
	}
	t.Run("one", func(t *testing.T) {
		fs := run(plan, map[string]time.Duration{"srv": 20 * time.Minute})
		want(t, fs, "restarted/srv")
		tells(t, fs[0].Observed, "started at Wed 25 Nov 12:40, up 20 min")
	})
	t.Run("a switch takes what it feeds with it", func(t *testing.T) {
		fs := run(plan, map[string]time.Duration{"sw": 20 * time.Minute, "cam-1": 18 * time.Minute, "cam-2": 19 * time.Minute})
		want(t, fs, "restarted/sw")
		if len(fs[0].Behind) != 2 {
			t.Errorf("%s", say(fs[0]))
		}
	})
	t.Run("three at once are a power cut", func(t *testing.T) {
		fs := run(plan, map[string]time.Duration{"sw": 20 * time.Minute, "srv": 18 * time.Minute, "srv-2": 19 * time.Minute})
		want(t, fs, "restarted/sw")
		tells(t, fs[0].Observed, "3 devices started within 2 min: a power cut is likely")
	})
	t.Run("two at different times", func(t *testing.T) {
		want(t, run(plan, map[string]time.Duration{"srv-2": 40 * time.Minute, "srv": 18 * time.Minute}), "restarted/srv", "restarted/srv-2")
	})
	t.Run("when it may", func(t *testing.T) {
		allowed := *plan
		allowed.Devices = append([]inventory.Device(nil), plan.Devices...)
		allowed.Devices[4].Restarts = []inventory.Schedule{{Cron: "30 12 * * *", For: 15 * time.Minute}}
		want(t, run(&allowed, map[string]time.Duration{"srv": 20 * time.Minute}))
		want(t, run(&allowed, map[string]time.Duration{"srv": 40 * time.Minute}), "restarted/srv") // 12:20, before the window
		want(t, run(&allowed, map[string]time.Duration{"srv": 5 * time.Minute}), "restarted/srv")  // 12:55, after it
	})
}

// Other firmware explains the restart.
func TestFirmwareChanged(t *testing.T) {
	plan := restartSite()
	m := newMemory()
	for k := range 3 {
		s := seen(plan, noon.Add(time.Duration(k)*time.Hour))
		d, _ := s.Device("srv")
		d.Firmware = []string{"1.0", "1.1\x00", "1.1"}[k]
		up(s, "srv", []time.Duration{100 * time.Hour, 20 * time.Minute, 80 * time.Minute}[k])
		want(t, m.run(plan, s), [][]string{nil, {"firmware-changed/srv"}, nil}[k]...)
	}
}
