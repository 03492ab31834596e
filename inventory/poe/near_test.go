package poe_test

import (
	"math"
	"testing"

	"boundwalk/inventory/poe"
)

// The contract: a port is near at 90 % of what its hardware or class grants, a
// supply at 80 % of its budget, with a band of 5 points against flapping.
func TestLevelOf(t *testing.T) {
	for _, c := range []struct {
		name        string
		part, whole float64
		threshold   float64
		was, want   poe.Level
	}{
		{"FC-01: 12.6 of 15.4 W", 12.6, 15.4, poe.NearPort, poe.Calm, poe.Calm},
		{"13.86 of 15.4 W is 90 %", 13.86, 15.4, poe.NearPort, poe.Calm, poe.Near},
		{"a milliwatt less", 13.859, 15.4, poe.NearPort, poe.Calm, poe.Calm},
		{"it stays near", 13.2, 15.4, poe.NearPort, poe.Near, poe.Near},
		{"85 % is the end of the band", 13.09, 15.4, poe.NearPort, poe.Near, poe.Near},
		{"below the band", 13.08, 15.4, poe.NearPort, poe.Near, poe.Calm},
		{"all of it is not over", 15.4, 15.4, poe.NearPort, poe.Calm, poe.Near},
		{"over", 15.401, 15.4, poe.NearPort, poe.Near, poe.Over},
		{"over stays", 14.7, 15.4, poe.NearPort, poe.Over, poe.Over},
		{"over becomes near", 14.6, 15.4, poe.NearPort, poe.Over, poe.Near},
		{"over becomes calm", 13, 15.4, poe.NearPort, poe.Over, poe.Calm},
		{"supply at 80 %", 104, 130, poe.NearSupply, poe.Calm, poe.Near},
		{"supply below", 103, 130, poe.NearSupply, poe.Calm, poe.Calm},
		{"supply in its band", 98, 130, poe.NearSupply, poe.Near, poe.Near},
		{"supply below its band", 97, 130, poe.NearSupply, poe.Near, poe.Calm},
		{"limit not known", 12, 0, poe.NearPort, poe.Over, poe.Calm},
		{"negative limit", 12, -1, poe.NearPort, poe.Over, poe.Calm},
		{"negative draw", -12, 15.4, poe.NearPort, poe.Calm, poe.Calm},
		{"no threshold", 15.3, 15.4, 0, poe.Calm, poe.Calm},
		{"no threshold, over", 15.5, 15.4, math.NaN(), poe.Calm, poe.Over},
		{"threshold of no sense", 15.5, 15.4, 7, poe.Calm, poe.Over},
	} {
		if got := poe.LevelOf(watts(c.part), watts(c.whole), c.threshold, c.was); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// A draw that wavers by less than the band changes its level once.
func TestLevelDoesNotFlap(t *testing.T) {
	level, changes := poe.Calm, 0
	for i := range 100 {
		draw := watts(13.9 - 0.5*float64(i%2)) // 90.3 % and 87 %
		now := poe.LevelOf(draw, watts(15.4), poe.NearPort, level)
		if now != level {
			changes++
		}
		level = now
	}
	if changes != 1 || level != poe.Near {
		t.Errorf("%d changes, now %v", changes, level)
	}
}

// The contract: a supply is near, too, where its free power is less than the
// largest planned device that is not yet fed.
func TestBudgetLevel(t *testing.T) {
	full := poe.Budget{Usable: 65 * poe.Watt, Reported: 24 * poe.Watt}
	for port := 1; port <= 4; port++ {
		full.Ports = append(full.Ports, poe.PortLoad{Port: port, Class: poe.Class3})
	}
	roomy := full
	roomy.Ports = full.Ports[:3] // 46.2 W reserved, 18.8 W free
	guarded := roomy
	guarded.Guard = 4 * poe.Watt
	hot := roomy
	hot.Reported = 52 * poe.Watt
	for _, c := range []struct {
		name   string
		budget poe.Budget
		next   float64
		was    poe.Level
		want   poe.Level
		noRoom bool
	}{
		{"FC-02: a class 3 device waits and cannot be fed", full, 15.4, poe.Calm, poe.Near, true},
		{"FC-02: nothing waits", full, 0, poe.Calm, poe.Calm, false},
		{"one port less: there is room", roomy, 15.4, poe.Calm, poe.Calm, false},
		{"exactly room", roomy, 18.8, poe.Calm, poe.Calm, false},
		{"room, but within 5 % after it was near", roomy, 18, poe.Near, poe.Near, false},
		{"3.25 W to spare", roomy, 15.55, poe.Near, poe.Calm, false},
		{"the guard is not free", guarded, 15.4, poe.Calm, poe.Near, true},
		{"80 % drawn", hot, 0, poe.Calm, poe.Near, false},
		{"80 % drawn, and no room for one of class 4", hot, 30, poe.Calm, poe.Near, true},
		{"budget not known", poe.Budget{Reported: 50 * poe.Watt}, 15.4, poe.Near, poe.Calm, false},
		{"over", poe.Budget{Usable: 65 * poe.Watt, Reported: 66 * poe.Watt}, 15.4, poe.Calm, poe.Over, false},
	} {
		level, noRoom := c.budget.Level(watts(c.next), poe.NearSupply, c.was)
		if level != c.want || noRoom != c.noRoom {
			t.Errorf("%s: %v, no room %v; want %v, %v", c.name, level, noRoom, c.want, c.noRoom)
		}
	}
}
