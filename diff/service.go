package diff

import (
	"fmt"
	"slices"
	"time"

	"boundwalk/inventory"
	"boundwalk/inventory/poe"
	"boundwalk/inventory/ups"
	"boundwalk/inventory/video"
)

// services reports cameras without a stream, recorders with too small a disk,
// clocks that are off, and the state of UPSes.
func (a *auditor) services() {
	a.disks()
	a.streams()
	a.clocks()
	for i := range a.snap.UPSes {
		u := &a.snap.UPSes[i]
		if d := a.planned[u.Device]; d != nil && !a.covered[u.Device] {
			a.upsState(d, &u.Reading)
		}
	}
}

// disks holds a recorder's disks as found against the days that it is to keep.
func (a *auditor) disks() {
	size := map[string]int64{}
	for _, d := range a.snap.Disks {
		if d.Size > 0 {
			size[d.Device] += d.Size
		}
	}
	for i := range a.plan.Devices {
		d := &a.plan.Devices[i]
		found := size[d.Name]
		if found <= 0 || d.Recording.Keep <= 0 || a.covered[d.Name] {
			continue
		}
		r, _ := a.recordingOf(d)
		r.Disk = video.Bytes(found)
		got, err := r.Paper()
		if err != nil || !got.Short {
			continue
		}
		f := New(RecordingShort, d.Name)
		f.Where, f.Basis = d.At.String(), inventory.Measured
		f.Expected = daysWords(float64(r.Want)) + " kept"
		if d.Recording.Disk > 0 {
			f.Expected += fmt.Sprintf(" on %s", video.Bytes(d.Recording.Disk))
		}
		f.Observed = fmt.Sprintf("%s: its agent tells %s of disk, and %s send up to %s", daysWords(float64(got.Kept)), r.Disk,
			Plural(len(r.Streams), "camera", "cameras"), inventory.BitRate(got.Mean))
		f.Advice = fmt.Sprintf("see whether a disk has failed or is missing; %s would do", got.Needs)
		a.add(f, d)
	}
}

const silentShare = 0.1 // of the planned stream: still scenes at a variable rate send more

// streams reports cameras that are there and send next to nothing, by the
// counters of the port that each has to itself.
func (a *auditor) streams() {
	if a.settling {
		return
	}
	for i := range a.snap.Ports {
		p := &a.snap.Ports[i]
		d := a.fedOn(i)
		if d == nil || d.Role != inventory.Camera || d.Stream <= 0 || d.Duty > 0 && d.Duty < 1 || a.covered[d.Name] || d.AwayAt(a.now.In(a.loc)) {
			continue
		}
		s := a.seen[d.Name]
		if s == nil || s.Presence != inventory.Present || portKey(s.Place.Ref()) != portKey(refOf(p)) || s.Place.Among > 1 ||
			s.Place.Basis == inventory.Remembered || !a.restartedAt(s).IsZero() {
			continue
		}
		in, _, span, ok := a.traffic(p)
		if !ok || float64(in) >= silentShare*float64(d.Stream) {
			continue
		}
		f := New(NoStream, d.Name)
		f.Where, f.Basis = refOf(p).String(), inventory.Measured
		f.Expected = fmt.Sprintf("about %s", d.Stream)
		f.Observed = fmt.Sprintf("%s from it, the mean of %s on %s", short(in), lasts(span), portWords(refOf(p)))
		if r := a.recorderOf(d); r != nil {
			f.Observed = sentence(f.Observed, a.recorderWords(r))
			f.Advice = fmt.Sprintf("look at its picture on %s; its password or address there may be out of date", r.Name)
		} else {
			f.Advice = "look at its picture"
		}
		a.add(f, d)
	}
}

// recorderWords says what the recorder's port takes beside what all its cameras
// are to send.
func (a *auditor) recorderWords(r *inventory.Device) string {
	_, out, _, ok := a.traffic(a.portOf(r))
	if !ok {
		return ""
	}
	var sum inventory.BitRate
	for i := range a.plan.Devices {
		if c := &a.plan.Devices[i]; c.Stream > 0 && a.recorderOf(c) == r {
			sum += c.Stream
		}
	}
	return fmt.Sprintf("%s takes %s of %s planned", r.Name, short(out), sum)
}

// How far a clock may be off, beyond what the reading itself may be.
const (
	clockSlack = 2 * time.Minute
	clockBand  = 90 * time.Second
)

// clocks reports devices whose clock is off. Where most agree with one another
// and not with us, our own is the likely one.
func (a *auditor) clocks() {
	best := map[string]inventory.ClockState{}
	for _, c := range a.snap.Clocks {
		if was, ok := best[c.Device]; a.planned[c.Device] != nil && (!ok || c.Sure < was.Sure) {
			best[c.Device] = c
		}
	}
	var off []inventory.ClockState
	for _, name := range a.names {
		c, ok := best[name]
		limit := clockSlack
		if a.open(ClockOff, name) {
			limit = clockBand
		}
		if s := a.seen[name]; ok && c.Offset.Abs()-max(c.Sure, 0) > limit && (s == nil || !s.Self) && !a.covered[name] {
			off = append(off, c)
		}
	}
	if same := agreeing(off); len(same) >= 3 && 2*len(same) > len(best) {
		a.ownClock(same, len(best))
		off = slices.DeleteFunc(off, func(c inventory.ClockState) bool { return slices.Contains(same, c) })
	}
	for _, c := range off {
		d := a.planned[c.Device]
		f := New(ClockOff, c.Device)
		f.Where, f.Basis = d.At.String(), inventory.Measured
		f.Expected = "within 2 min of this machine's clock"
		f.Observed = fmt.Sprintf("%s, read by %s", offsetWords(c.Offset), c.Source)
		f.Advice = "set its time server and its time zone"
		if d.Role == inventory.Camera || d.Role == inventory.Recorder {
			f.Advice += ": a recording with the wrong time is worth little"
		}
		if rest := c.Offset.Abs() % time.Hour; c.Offset.Abs() > 50*time.Minute && (rest < 2*time.Minute || rest > 58*time.Minute) {
			f.Observed += "; a whole number of hours points at the time zone or summer time"
		}
		a.add(f, d)
	}
}

func offsetWords(d time.Duration) string {
	if d < 0 {
		return lasts(-d) + " slow"
	}
	return lasts(d) + " fast"
}

// agreeing is the largest set of clocks within a minute of one of them.
func agreeing(cs []inventory.ClockState) []inventory.ClockState {
	sorted := slices.Clone(cs)
	slices.SortStableFunc(sorted, func(x, y inventory.ClockState) int { return int(min(max(x.Offset-y.Offset, -1), 1)) })
	var most []inventory.ClockState
	for lo, hi := 0, 0; hi < len(sorted); hi++ {
		for sorted[hi].Offset-sorted[lo].Offset > time.Minute {
			lo++
		}
		if hi-lo+1 > len(most) {
			most = sorted[lo : hi+1]
		}
	}
	return most
}

func (a *auditor) ownClock(same []inventory.ClockState, of int) {
	f := New(ClockOff, "this machine")
	f.Expected = "the time of the devices"
	f.Observed = fmt.Sprintf("%d of %d clocks agree with one another and are %s against this machine", len(same), of, offsetWords(same[len(same)/2].Offset))
	f.Advice = "see to the clock of the machine that boundwalk runs on first"
	f.Basis = inventory.Measured
	for _, c := range same {
		f.Behind = append(f.Behind, c.Device)
	}
	a.add(f, nil)
}

// upsState reports a UPS on battery, a battery that wants care, and a load near
// what it may carry.
func (a *auditor) upsState(d *inventory.Device, r *inventory.UPSReading) {
	onBattery := r.Source == "battery" || r.OnBattery != nil && *r.OnBattery > 0 || slices.Contains(r.Alarms, "upsAlarmOnBattery")
	if onBattery {
		f := New(UPSOnBattery, d.Name)
		f.Where, f.Basis = d.At.String(), inventory.Measured
		f.Expected = "on mains"
		f.Observed = sentence("on battery"+forWords(r.OnBattery), upsWords(r))
		f.Advice = "see whether the mains are out or only its plug or fuse; shut down what must not stop hard"
		f.Caution = ups.CautionMains
		a.add(f, d)
	}
	a.upsBattery(d, r, onBattery)
	a.upsLoadNear(d, r)
}

func forWords(d *time.Duration) string {
	if d == nil || *d <= 0 {
		return ""
	}
	return " for " + lasts(*d)
}

// upsWords says what the UPS itself estimates.
func upsWords(r *inventory.UPSReading) string {
	var parts []string
	if r.Runtime != nil {
		parts = append(parts, lasts(*r.Runtime)+" left by its own estimate")
	}
	if r.Charge != nil {
		parts = append(parts, fmt.Sprintf("%d %% charged", *r.Charge))
	}
	if r.Load != nil {
		parts = append(parts, fmt.Sprintf("%d %% load", *r.Load))
	}
	return sentence(parts...)
}

func (a *auditor) upsBattery(d *inventory.Device, r *inventory.UPSReading, onBattery bool) {
	var why []string
	if slices.Contains(r.Alarms, "upsAlarmBatteryBad") {
		why = append(why, "it says that its battery is bad")
	}
	if !onBattery && (r.Battery == "low" || r.Battery == "depleted") {
		why = append(why, "its battery is "+r.Battery+" though it is on mains")
	}
	if slices.Contains(r.Alarms, "upsAlarmTempBad") {
		why = append(why, "it says that its temperature is bad")
	}
	want := d.UPS.Runtime
	if a.open(UPSBattery, d.Name) {
		want += want / 20 // a band against flapping
	}
	full := r.Charge == nil || *r.Charge >= 95 // while it charges, the estimate is low by nature
	if !onBattery && full && r.Runtime != nil && *r.Runtime < want {
		why = append(why, fmt.Sprintf("it estimates %s at its load, %s are planned", lasts(*r.Runtime), lasts(d.UPS.Runtime)))
	}
	if len(why) == 0 {
		return
	}
	f := New(UPSBattery, d.Name)
	f.Where, f.Basis = d.At.String(), inventory.Measured
	f.Expected = "a sound battery"
	if d.UPS.Runtime > 0 {
		f.Expected += fmt.Sprintf(" for %s", lasts(d.UPS.Runtime))
	}
	f.Observed = sentence(append(why, upsWords(r))...)
	f.Advice = fmt.Sprintf("exchange the battery if it is %d to %d years old; only a discharge test proves one", ups.ReplaceFrom, ups.ReplaceBy)
	f.Caution = ups.CautionBattery + " " + ups.CautionDischarge
	a.add(f, d)
}

func (a *auditor) upsLoadNear(d *inventory.Device, r *inventory.UPSReading) {
	if r.Load == nil {
		return
	}
	was := poe.Calm
	switch {
	case a.open(SupplyPowerOver, d.Name):
		was = poe.Over
	case a.open(SupplyPowerNear, d.Name):
		was = poe.Near
	}
	level := levelOf(inventory.Power(*r.Load), 100, ups.NearShare, a.near.Band, was)
	if level == poe.Calm {
		return
	}
	f := New(SupplyPowerNear, d.Name)
	f.Advice = "before anything is added to it, take load off it or take a larger UPS"
	if level == poe.Over {
		f = New(SupplyPowerOver, d.Name)
		f.Advice = "take load off it now: it may switch all of it off"
	}
	f.Where, f.Basis, f.Caution = d.At.String(), inventory.Measured, ups.CautionMains
	f.Expected = fmt.Sprintf("at most %.0f %% load", 100*ups.NearShare)
	f.Observed = upsWords(r)
	a.add(f, d)
}
