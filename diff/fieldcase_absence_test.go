package diff_test

import (
	"fmt"
	"testing"
	"time"

	"boundwalk/diff"
	"boundwalk/inventory"
)

// FC-23: after a power cut nothing is missing.
func TestFC23WeWereUpFirst(t *testing.T) {
	var devices []inventory.Device
	for n := byte(1); n <= 20; n++ {
		devices = append(devices, camera(fmt.Sprintf("cam-%02d", n), n, ""))
	}
	plan := site(devices...)
	m := newMemory()
	m.Booted = noon
	first := seen(plan, noon.Add(40*time.Second))
	for k := range devices[1:] {
		lose(first, devices[k+1].Name)
	}
	want(t, m.run(plan, first))
	want(t, m.run(plan, seen(plan, noon.Add(12*time.Minute))))
}

// behindRadio is: switch -- radio -- (air) -- far-radio -- six cameras.
func behindRadio() *inventory.Plan {
	far := onPort("far-radio", inventory.Radio, 0x52, "")
	plan := site(theSwitch(10), onPort("printer", inventory.Printer, 0x12, "sw/3"), camera("house-cam", 0x30, "sw/2"),
		onPort("office", inventory.Server, 0x13, "sw/4"),
		onPort("ap", inventory.AccessPoint, 0x14, "sw/5"), onPort("ap-2", inventory.AccessPoint, 0x15, "sw/6"),
		onPort("ap-3", inventory.AccessPoint, 0x16, "sw/7"),
		onPort("radio", inventory.Radio, 0x51, "sw/8"), far)
	for n := byte(1); n <= 6; n++ {
		plan.Devices = append(plan.Devices, camera(fmt.Sprintf("cam-%d", n), n+0x60, fmt.Sprintf("far-radio/%d", n)))
	}
	plan.Links = []inventory.RadioLink{{Name: "basin", Between: [2]string{"radio", "far-radio"}}}
	return plan
}

// lost is what the second of two runs finds in which the named are absent.
func lost(plan *inventory.Plan, names ...string) []diff.Finding {
	m := newMemory()
	var fs []diff.Finding
	for range 2 {
		s := seen(plan, noon)
		lose(s, names...)
		fs = m.run(plan, s)
	}
	return fs
}

// FC-23: what hangs behind a dead radio is one finding with it, and where most is
// gone, the measuring point is.
func TestFC23OneCause(t *testing.T) {
	t.Run("a radio and its cameras", func(t *testing.T) {
		plan := behindRadio()
		m := newMemory()
		var fs []diff.Finding
		for k := range 2 {
			s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
			lose(s, "far-radio", "cam-1", "cam-2", "cam-3", "cam-4", "cam-5", "cam-6")
			fs = m.run(plan, s)
			if k == 0 {
				want(t, fs) // one lost run is no absence
			}
		}
		want(t, fs, "missing-device/far-radio")
		tells(t, fs[0].Title(), "with 6 behind it")
	})
	t.Run("the near radio takes the far one with it", func(t *testing.T) {
		plan := behindRadio()
		plan.Devices = plan.Devices[:len(plan.Devices)-3] // or most of the plan is gone
		fs := lost(plan, "radio", "far-radio", "cam-1", "cam-2", "cam-3")
		want(t, fs, "missing-device/radio")
		tells(t, fs[0].Title(), "with 4 behind it")
	})
	t.Run("a camera behind what is there is its own", func(t *testing.T) {
		want(t, lost(behindRadio(), "radio", "cam-1"), "missing-device/cam-1", "missing-device/radio")
	})
	t.Run("most of it", func(t *testing.T) {
		plan := behindRadio()
		var most []string
		for _, d := range plan.Devices[:10] {
			most = append(most, d.Name)
		}
		fs := lost(plan, most...)
		want(t, fs, "cut-off/Tern Quay")
		tells(t, fs[0].Observed, "10 of 15 do not")
	})
}

// FC-23: what sleeps, what nobody looked for and what the pulse still sees is not missing.
func TestFC23NotMissing(t *testing.T) {
	t.Run("a sensor that sleeps", func(t *testing.T) {
		plan := site(theSwitch(8), onPort("frost", inventory.Sensor, 0x42, "sw/6"), onPort("phone", inventory.Phone, 0x43, "sw/7"))
		m := newMemory()
		for k := range 100 {
			s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
			if k%5 != 0 {
				lose(s, "frost")
			}
			lose(s, "phone")
			want(t, m.run(plan, s))
		}
		for k := 100; k < 200; k++ {
			s := seen(plan, noon.Add(time.Duration(k)*15*time.Minute))
			lose(s, "frost", "phone")
			fs := m.run(plan, s)
			if since := m.Absences["frost"].Since; s.Finished.Sub(since) < 24*time.Hour {
				want(t, fs)
			} else {
				want(t, fs, "missing-device/frost")
			}
		}
	})
	t.Run("not looked is not missing", func(t *testing.T) {
		plan := behindRadio()
		m := newMemory()
		for range 3 {
			s := seen(plan, noon)
			for i := range s.Devices {
				s.Devices[i].Presence = inventory.NotLooked
			}
			want(t, m.run(plan, s))
		}
	})
	t.Run("the pulse still sees it", func(t *testing.T) {
		plan := behindRadio()
		m := newMemory()
		m.Pulse = map[string]inventory.PulsePresence{"cam-1": {At: noon, Up: true, Looked: true}}
		for range 3 {
			s := seen(plan, noon)
			lose(s, "cam-1")
			want(t, m.run(plan, s))
		}
		m.Pulse["cam-1"] = inventory.PulsePresence{At: noon.Add(-time.Hour), Up: true, Looked: true}
		s := seen(plan, noon)
		lose(s, "cam-1")
		want(t, m.run(plan, s), "missing-device/cam-1")
	})
}
