package inventory_test

import (
	"testing"
	"time"

	"boundwalk/inventory"
)

// FC-10, with the wrap at 2^32 hundredths of a second (RFC 2578, 7.1.8).
func TestFC10Uptime(t *testing.T) {
	at := func(ticks uint32, after time.Duration) inventory.UpTime {
		return inventory.UpTime{Ticks: ticks, Read: noon.Add(after)}
	}
	boots := func(u inventory.UpTime, n uint32) inventory.UpTime { u.Boots = &n; return u }
	host := func(u inventory.UpTime, n uint32) inventory.UpTime { u.Host = &n; return u }
	for _, tt := range []struct {
		name    string
		now     inventory.UpTime
		earlier []inventory.UpTime
		want    inventory.Life
	}{
		{"it wrapped", at(292704, time.Hour), []inventory.UpTime{at(4294900000, 0)}, inventory.LifeWrapped},
		{"it restarted two minutes before", at(12000, time.Hour), []inventory.UpTime{at(4294900000, 0)}, inventory.LifeRestarted},
		{"above 2^31 it is no negative", at(2178049673+360000, time.Hour), []inventory.UpTime{at(2178049673, 0)}, inventory.LifeOn},
		{"nothing to compare with", at(5, 0), nil, inventory.LifeUnknown},
		{"the same in three runs", at(0, 2*time.Hour), []inventory.UpTime{at(0, time.Hour), at(0, 0)}, inventory.LifeUnusable},
		{"it counted less than went by", at(20000, time.Hour), []inventory.UpTime{at(10000, 0)}, inventory.LifeRestarted},
		{"engine boots settle it", boots(at(12000, time.Hour), 7), []inventory.UpTime{boots(at(4294900000, 0), 7)}, inventory.LifeOn},
		{"engine boots rose", boots(at(370000, time.Hour), 8), []inventory.UpTime{boots(at(10000, 0), 7)}, inventory.LifeRestarted},
		{"the agent restarted, the host went on", host(at(12000, time.Hour), 460000), []inventory.UpTime{host(at(90000, 0), 100000)}, inventory.LifeOn},
		{"our clock went back", at(12000, -time.Hour), []inventory.UpTime{at(90000, 0)}, inventory.LifeUnknown},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := inventory.JudgeUptime(tt.now, tt.earlier); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}
