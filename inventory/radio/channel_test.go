package radio_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"boundwalk/inventory/radio"
)

// Source: IEEE 802.11 channel numbering, centre 5000 + 5 n MHz; the 2.4 GHz
// centres are those of Linux 6.1, net/wireless/util.c (2407 + 5 n).
func TestChannelNumbered(t *testing.T) {
	for _, c := range []struct {
		name   string
		number int
		width  radio.MHz
		centre radio.MHz
		own    int // the number of the channel itself
	}{
		{"6 at 2.4 GHz", 6, 20, 2437, 6}, {"13", 13, 20, 2472, 13},
		{"36", 36, 20, 5180, 36}, {"144", 144, 20, 5720, 144}, {"165", 165, 20, 5825, 165},
		{"36 at 40 MHz", 36, 40, 5190, 38}, {"100 at 40 MHz", 100, 40, 5510, 102}, {"159 is one itself", 159, 40, 5795, 159},
		{"36 at 80 MHz is centred on 42", 36, 80, 5210, 42}, {"161 at 80 MHz", 161, 80, 5775, 155},
		{"44 at 160 MHz", 44, 160, 5250, 50}, {"128 at 160 MHz", 128, 160, 5570, 114},
	} {
		got, err := radio.ChannelNumbered(c.number, c.width)
		if err != nil || got != (radio.Channel{Centre: c.centre, Width: c.width}) {
			t.Errorf("%s: %+v, %v, want %v MHz", c.name, got, err, c.centre)
		}
		if n, ok := got.Number(); !ok || n != c.own {
			t.Errorf("%s: number %d, %v, want %d", c.name, n, ok, c.own)
		}
	}
	for _, bad := range []struct {
		number int
		width  radio.MHz
	}{{0, 20}, {14, 20}, {6, 40}, {37, 20}, {165, 40}, {38, 80}, {149, 160}, {-36, 20}, {36, 0}, {36, radio.MHz(math.NaN())}} {
		if c, err := radio.ChannelNumbered(bad.number, bad.width); !errors.Is(err, radio.ErrRange) {
			t.Errorf("%+v: %+v, %v, want ErrRange", bad, c, err)
		}
	}
	if n, ok := (radio.Channel{Centre: 5500, Width: 40}).Number(); ok {
		t.Errorf("5500 at 40 MHz: %d, want none", n)
	}
}

func TestOverlap(t *testing.T) {
	nan := radio.MHz(math.NaN())
	for _, c := range []struct {
		name string
		a, b radio.Channel
		want radio.MHz
	}{
		{"the same", radio.Channel{5500, 20}, radio.Channel{5500, 20}, 20},
		{"neighbours touch", radio.Channel{5500, 20}, radio.Channel{5520, 20}, 0},
		{"narrow inside wide", radio.Channel{5210, 80}, radio.Channel{5180, 20}, 20},
		{"half over", radio.Channel{5510, 40}, radio.Channel{5530, 40}, 20},
		{"2.4 GHz, 1 and 3", radio.Channel{2412, 20}, radio.Channel{2422, 20}, 10},
		{"2.4 GHz, 1 and 6", radio.Channel{2412, 20}, radio.Channel{2437, 20}, 0},
		{"no width", radio.Channel{5500, 0}, radio.Channel{5500, 20}, 0},
		{"not a number", radio.Channel{nan, 20}, radio.Channel{5500, nan}, 0},
	} {
		if got, back := c.a.Overlap(c.b), c.b.Overlap(c.a); got != c.want || back != c.want {
			t.Errorf("%s: %v and %v, want %v", c.name, got, back, c.want)
		}
	}
}

// Source: ECC/DEC/(04)08 for the ranges; makers' texts on EN 301 893 for the times.
func TestDFS(t *testing.T) {
	usual := radio.DFS{ListenLeast: time.Minute, ListenMost: time.Minute, Closed: 30 * time.Minute}
	weather := usual
	weather.ListenMost = 10 * time.Minute
	for number := 36; number <= 165; number++ {
		c, err := radio.ChannelNumbered(number, 20)
		if err != nil {
			continue
		}
		d, got := c.DFS()
		want := number >= 52 && number <= 64 || number >= 100 && number <= 144
		if got != want || got && d != usual && d != weather {
			t.Errorf("channel %d: %+v, %v, want %v", number, d, got, want)
		}
		if slow := number >= 120 && number <= 128; slow != (d == weather) {
			t.Errorf("channel %d: up to %v", number, d.ListenMost)
		}
	}
	if _, ok := (radio.Channel{5250, 160}).DFS(); !ok {
		t.Error("160 MHz from channel 36 reaches into a DFS range")
	}
	if _, ok := (radio.Channel{5210, 80}).DFS(); ok {
		t.Error("80 MHz from channel 36 ends at 5250 MHz")
	}
}
