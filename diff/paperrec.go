package diff

import (
	"fmt"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
	"boundwalk/inventory/ups"
	"boundwalk/inventory/video"
)

// recordingOf is what a recorder is to keep, and how many cameras send to it.
func (a *auditor) recordingOf(d *inventory.Device) (r video.Recording, largest video.Stream) {
	r = video.Recording{Disk: video.Bytes(d.Recording.Disk), Want: video.Days(d.Recording.Keep.Hours() / 24)}
	for i := range a.plan.Devices {
		c := &a.plan.Devices[i]
		if c.Stream <= 0 || a.recorderOf(c) != d {
			continue
		}
		s := video.Stream{Rate: video.BitRate(c.Stream), Duty: c.Duty}
		r.Streams = append(r.Streams, s)
		if s.Rate > largest.Rate {
			largest = s
		}
	}
	return r, largest
}

// recordings reports recorders whose disk keeps less than planned.
func (p *paper) recordings() {
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		if d.Recording.Disk <= 0 || d.Recording.Keep <= 0 {
			continue
		}
		r, _ := p.recordingOf(d)
		if len(r.Streams) == 0 {
			continue
		}
		got, err := r.Paper()
		if err != nil || !got.Short {
			continue
		}
		p.put(RecordingShort, d, fmt.Sprintf("%s kept", daysWords(float64(r.Want))),
			fmt.Sprintf("%s on %s with %s", daysWords(float64(got.Kept)), r.Disk, Plural(len(r.Streams), "camera", "cameras")),
			fmt.Sprintf("take a disk of %s, lower the rates, or keep fewer days", got.Needs))
	}
}

func daysWords(d float64) string {
	if d == float64(int(d)) {
		return Plural(int(d), "day", "days")
	}
	return fmt.Sprintf("%.1f days", d)
}

func (p *paper) recordingLines() []RecordingLine {
	var out []RecordingLine
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		if d.Recording.Disk <= 0 {
			continue
		}
		r, largest := p.recordingOf(d)
		l := RecordingLine{Recorder: d.Name, Cameras: len(r.Streams), Want: float64(r.Want)}
		if len(r.Streams) > 0 {
			got, err := r.Paper()
			if err != nil {
				l.Problem = err.Error()
			}
			l.PerDay, l.Kept = int64(got.PerDay), float64(got.Kept)
			if r.Want > 0 && err == nil {
				if l.More, err = r.More(largest); err != nil {
					l.Problem = err.Error()
				}
			}
		}
		out = append(out, l)
	}
	return out
}

// upsLoad sums what the plan hangs on a UPS: what each takes, and of what feeds
// others what it hands out too.
func (p *paper) upsLoad(u *inventory.Device) (sum inventory.Power, unknown []string) {
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		if d.Mains != u.Name {
			continue
		}
		own := max(d.Draws.Most, d.Own)
		var given inventory.Power
		for _, b := range p.budgets {
			if b.dev == d {
				given = b.full.Drawn()
			}
		}
		watts, err := ups.MainsLoad(ups.Watts(given.Watts()), ups.Watts(own.Watts()), d.Efficiency)
		if own == 0 && given == 0 || err != nil {
			unknown = append(unknown, d.Name)
			continue
		}
		sum += poe.FromWatts(float64(watts))
	}
	return sum, unknown
}

func (p *paper) upsLines() []UPSLine {
	var out []UPSLine
	for i := range p.plan.Devices {
		d := &p.plan.Devices[i]
		if d.Role != inventory.UPS {
			continue
		}
		l := UPSLine{UPS: d.Name, Rated: d.UPS.Rated, Load: d.UPS.Load, Want: d.UPS.Runtime}
		if l.Load == 0 {
			l.Summed = true
			l.Load, l.Unknown = p.upsLoad(d)
		}
		if d.UPS.Battery > 0 && l.Load > 0 {
			t, err := ups.Battery{Energy: ups.WattHours(d.UPS.Battery)}.Runtime(ups.Watts(l.Load.Watts()))
			if err == nil {
				l.Runtime = t
			}
		}
		out = append(out, l)
	}
	return out
}

// upses reports a UPS that is planned to carry more than it may, or for less
// long than wanted.
func (p *paper) upses() {
	for _, l := range p.upsLines() {
		d := p.planned[l.UPS]
		if l.Rated > 0 && l.Load > l.Rated {
			p.put(OverBudget, d, fmt.Sprintf("at most %s", l.Rated), fmt.Sprintf("%s hang on it", l.Load),
				"take load off it, or take a larger UPS").Caution = ups.CautionMains
		}
		if short := l.Runtime > 0 && l.Runtime < l.Want; short {
			p.put(UPSBattery, d, lasts(l.Want)+" on battery", fmt.Sprintf("about %s at %s, within 30 %%", lasts(l.Runtime.Round(time.Minute)), l.Load),
				"take a larger battery, or less load").Caution = ups.CautionBattery
		}
	}
}
