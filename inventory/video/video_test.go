package video_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"boundwalk/inventory/video"
)

func streams(n int, rate video.BitRate, duty float64) []video.Stream {
	return slices.Repeat([]video.Stream{{Rate: rate, Duty: duty}}, n)
}

// Source: SI prefixes and IEC 80000-13; 10.8 GB a day for each Mbit/s is also
// printed by a bitrate guide.
func TestPerDay(t *testing.T) {
	for mbit, want := range map[video.BitRate]struct{ gb, gib float64 }{
		1: {10.8, 10.058}, 2: {21.6, 20.117}, 4: {43.2, 40.233}, 6: {64.8, 60.350}, 8: {86.4, 80.466}, 16: {172.8, 160.933},
	} {
		p, err := video.Recording{Streams: streams(1, mbit*1e6, 0)}.Paper()
		gb, gib := float64(p.PerDay)/float64(video.GB), float64(p.PerDay)/float64(video.GiB)
		if err != nil || math.Abs(gb-want.gb) > 1e-9 || math.Abs(gib-want.gib) > 0.0006 {
			t.Errorf("%d Mbit/s: %.4f GB, %.4f GiB a day, %v, want %v", mbit, gb, gib, err, want)
		}
		if p.Kept != 0 || p.Needs != 0 || p.Short {
			t.Errorf("neither disk nor wish: %+v", p)
		}
	}
}

// Source: worked from the definition of the units (SI, IEC 80000-13).
func TestDaysKept(t *testing.T) {
	for _, c := range []struct {
		name    string
		disk    video.Bytes
		reserve float64
		streams []video.Stream
		want    video.Days
	}{
		{"4 TB, 4 cameras of 4 Mbit/s", 4 * video.TB, 0, streams(4, 4e6, 0), 23.1481},
		{"4 TiB, the same", 4 * video.TiB, 0, streams(4, 4e6, 1), 25.4517},
		{"8 TB, 6 cameras", 8 * video.TB, 0, streams(6, 4e6, 0), 30.8642},
		{"8 TB, a tenth reserved", 8 * video.TB, 0.1, streams(6, 4e6, 0), 27.7778},
		{"2 TB, 30 % motion", 2 * video.TB, 0, streams(1, 16e6, 0.3), 38.5802},
	} {
		p, err := video.Recording{Disk: c.disk, Reserve: c.reserve, Streams: c.streams}.Paper()
		if err != nil || math.Abs(float64(p.Kept-c.want)) > 0.00006 || p.Short {
			t.Errorf("%s: %+v, %v, want %v days", c.name, p, err, c.want)
		}
	}
}

func TestNeeds(t *testing.T) {
	r := video.Recording{Streams: streams(4, 4e6, 0), Want: 30}
	if p, err := r.Paper(); err != nil || p.Needs != 5_184_000_000_000 || p.Short {
		t.Errorf("30 days at 16 Mbit/s: %+v, %v, want 5.184e12 bytes", p, err)
	}
	r.Reserve = 0.1
	if p, err := r.Paper(); err != nil || p.Needs != 5_760_000_000_000 {
		t.Errorf("with a tenth reserved: %+v, %v", p, err)
	}
	r.Disk = 5_760_000_000_000
	if p, err := r.Paper(); err != nil || p.Short || math.Abs(float64(p.Kept)-30) > 1e-6 {
		t.Errorf("just enough: %+v, %v", p, err)
	}
	r.Disk -= video.GB
	if p, err := r.Paper(); err != nil || !p.Short {
		t.Errorf("a gigabyte less: %+v, %v", p, err)
	}
}

// The disk that is said to be needed is always enough, whatever floating point leaves.
func TestNeedsIsEnough(t *testing.T) {
	for n := 1; n <= 12; n++ {
		for days := video.Days(0.5); days <= 60; days += 0.7 {
			r := video.Recording{Streams: streams(n, 3_333_333, 0.37), Want: days, Reserve: 0.07}
			p, err := r.Paper()
			if err != nil {
				t.Fatal(err)
			}
			r.Disk = p.Needs
			if p, err := r.Paper(); err != nil || p.Short {
				t.Errorf("%d streams, %v days: %+v, %v", n, days, p, err)
			}
		}
	}
}

func TestMore(t *testing.T) {
	for _, c := range []struct {
		name string
		r    video.Recording
		add  video.Stream
		want int
	}{
		// 8 TB for 20 days is 37.04 Mbit/s.
		{"three more beside six", video.Recording{Disk: 8 * video.TB, Streams: streams(6, 4e6, 0), Want: 20}, video.Stream{Rate: 4e6}, 3},
		{"motion takes less", video.Recording{Disk: 8 * video.TB, Streams: streams(6, 4e6, 0), Want: 20}, video.Stream{Rate: 4e6, Duty: 0.5}, 6},
		{"short already", video.Recording{Disk: 8 * video.TB, Streams: streams(6, 4e6, 0), Want: 60}, video.Stream{Rate: 4e6}, 0},
		{"it comes out even", video.Recording{Disk: 5_184_000_000_000, Streams: streams(3, 4e6, 0), Want: 30}, video.Stream{Rate: 4e6}, 1},
		{"an empty recorder", video.Recording{Disk: 2 * video.TB, Want: 10}, video.Stream{Rate: 4e6}, 4},
	} {
		if got, err := c.r.More(c.add); err != nil || got != c.want {
			t.Errorf("%s: %d, %v, want %d", c.name, got, err, c.want)
		}
	}
	for _, r := range []video.Recording{{}, {Disk: video.TB}, {Want: 3}, {Disk: -1, Want: 3}} {
		if got, err := r.More(video.Stream{Rate: 1}); !errors.Is(err, video.ErrRange) || got != 0 {
			t.Errorf("%+v: %d, %v, want ErrRange", r, got, err)
		}
	}
}

// Common practice, no source: a 2 TB disk serves a handful of 1080p cameras.
func TestFactsOfTheTrade(t *testing.T) {
	got, err := video.Recording{Disk: 2 * video.TB, Want: 7}.More(video.Stream{Rate: 4e6})
	if err != nil || got < 4 || got > 8 {
		t.Errorf("2 TB keep a week of %d cameras at 1080p, %v, want a handful", got, err)
	}
}

// Test vector: six cameras of 4 Mbit/s with 5 % overhead, over a radio that
// carries 39, 26 or 19.5 Mbit/s.
func TestLinkLoad(t *testing.T) {
	load, err := video.NetworkLoad(streams(6, 4e6, 0.3))
	if err != nil || load != 25_200_000 {
		t.Fatalf("load %d, %v, want 25.2 Mbit/s whatever the duty", load, err)
	}
	for _, c := range []struct {
		usable, load video.BitRate
		near         float64
		want         video.LinkLoad
	}{
		{39e6, load, 0, video.LinkLoad{true, 25.2 / 39, false, false}},
		{26e6, load, 0, video.LinkLoad{true, 25.2 / 26, true, false}},
		{19_500_000, load, 0, video.LinkLoad{true, 25.2 / 19.5, true, true}},
		{39e6, load, 0.5, video.LinkLoad{true, 25.2 / 39, true, false}},
		{39e6, load, math.NaN(), video.LinkLoad{true, 25.2 / 39, false, false}},
		{39e6, 0, 0, video.LinkLoad{Known: true}},
		{0, load, 0, video.LinkLoad{}},
		{39e6, -1, 0, video.LinkLoad{}},
	} {
		got := video.JudgeLink(c.load, c.usable, c.near)
		if math.Abs(got.Share-c.want.Share) > 1e-9 {
			t.Errorf("%d on %d: %+v, want %+v", c.load, c.usable, got, c.want)
		}
		if got.Share = c.want.Share; got != c.want {
			t.Errorf("%d on %d: %+v, want %+v", c.load, c.usable, got, c.want)
		}
	}
	if got := video.PortUsable(100e6); got != 90e6 {
		t.Errorf("a 100 Mbit/s port: %d", got)
	}
	if got := video.PortUsable(-1) + video.PortUsable(math.MaxInt64); got != 0 {
		t.Errorf("unknown ports: %d", got)
	}
}

func TestBytesString(t *testing.T) {
	for b, want := range map[video.Bytes]string{
		4 * video.TB: "4 TB (3.64 TiB)", 4 * video.TiB: "4 TiB (4.40 TB)", 43_200_000_000: "43.20 GB (40.23 GiB)",
		500 * video.GB: "500 GB (465.66 GiB)", 0: "0 GB (0.00 GiB)", 1_500_000_000_000: "1.50 TB (1.36 TiB)",
		512 * video.GiB: "512 GiB (549.76 GB)", -2 * video.TB: "-2 TB (-1.82 TiB)",
	} {
		if got := b.String(); got != want {
			t.Errorf("%d: %q, want %q", int64(b), got, want)
		}
	}
}

func TestRecordingErrors(t *testing.T) {
	if _, err := (video.Recording{Disk: video.TB}).Paper(); !errors.Is(err, video.ErrNoStreams) {
		t.Errorf("no streams: %v", err)
	}
	for name, r := range map[string]video.Recording{
		"a disk below zero":      {Disk: -1, Streams: streams(1, 1e6, 0)},
		"a reserve of all":       {Disk: video.TB, Reserve: 1, Streams: streams(1, 1e6, 0)},
		"a stream of nothing":    {Disk: video.TB, Streams: streams(1, 0, 0)},
		"a duty over the day":    {Disk: video.TB, Streams: streams(1, 1e6, 1.1)},
		"a duty not a number":    {Disk: video.TB, Streams: streams(1, 1e6, math.NaN())},
		"a duty of next to none": {Disk: video.TB, Streams: streams(1, 1, 1e-300)},
		"too many streams":       {Disk: video.TB, Streams: streams(1001, 1e6, 0)},
		"too large a wish":       {Disk: video.TB, Streams: streams(1000, 10e9, 0), Want: 36_500},
		"a wish not a number":    {Disk: video.TB, Streams: streams(1, 1e6, 0), Want: video.Days(math.Inf(1))},
	} {
		if p, err := r.Paper(); !errors.Is(err, video.ErrRange) || p != (video.Paper{}) {
			t.Errorf("%s: %+v, %v, want ErrRange", name, p, err)
		}
	}
}

func FuzzRecording(f *testing.F) {
	nan, inf := math.NaN(), math.Inf(1)
	f.Add(int64(4e12), 0.1, int64(4e6), 0.5, 4, 30.0, 0.7)
	f.Add(int64(math.MaxInt64), nan, int64(math.MaxInt64), inf, 1000, nan, inf)
	f.Add(int64(1e18), 0.9, int64(10e9), 0.0, 1000, 1.0, -inf)
	f.Add(int64(1e18), 0.0, int64(1), 0.001, 1, 36_500.0, nan)
	f.Add(int64(1e12), 0.0, int64(1e6), 1e-320, 2, 1e-320, 1e-320)
	f.Add(int64(math.MinInt64), -inf, int64(math.MinInt64), -1.0, -1, -1.0, 2.0)
	f.Fuzz(func(t *testing.T, disk int64, reserve float64, rate int64, duty float64, n int, want, near float64) {
		s := video.Stream{Rate: video.BitRate(rate), Duty: duty}
		r := video.Recording{Disk: video.Bytes(disk), Reserve: reserve, Streams: slices.Repeat([]video.Stream{s}, min(max(n, 0), 1100)), Want: video.Days(want)}
		p, err := r.Paper()
		if bad := float64(p.Kept); math.IsNaN(bad) || math.IsInf(bad, 0) || p.Kept < 0 || p.Usable < 0 || p.PerDay < 0 || p.Needs < 0 || p.Mean < 0 {
			t.Errorf("%+v: %+v", r, p)
		}
		if err != nil && !errors.Is(err, video.ErrRange) && !errors.Is(err, video.ErrNoStreams) {
			t.Errorf("an error of no kind: %v", err)
		}
		more, err := r.More(s)
		if more < 0 || err != nil && more != 0 {
			t.Errorf("%+v: room for %d, %v", r, more, err)
		}
		load, _ := video.NetworkLoad(r.Streams)
		if load < 0 {
			t.Errorf("%+v: load %d", r, load)
		}
		if l := video.JudgeLink(video.BitRate(disk), video.BitRate(rate), near); math.IsNaN(l.Share) || math.IsInf(l.Share, 0) || l.Share < 0 {
			t.Errorf("%d on %d: %+v", disk, rate, l)
		}
		_ = video.Bytes(disk).String()
	})
}
