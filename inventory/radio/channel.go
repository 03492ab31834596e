package radio

import (
	"fmt"
	"slices"
	"time"
)

// Channel is a piece of spectrum: its centre and its width.
type Channel struct{ Centre, Width MHz }

// Channel numbers of the 5 GHz band by width; the centre is 5000 + 5 n MHz.
var channels5 = map[MHz][]int{
	20: {36, 40, 44, 48, 52, 56, 60, 64, 100, 104, 108, 112, 116, 120, 124, 128, 132, 136, 140, 144,
		149, 153, 157, 161, 165},
	40:  {38, 46, 54, 62, 102, 110, 118, 126, 134, 142, 151, 159},
	80:  {42, 58, 106, 122, 138, 155},
	160: {50, 114},
}

// ChannelNumbered is the channel that a radio means by its number and width.
// At 5 GHz the number may be that of the whole channel or of the 20 MHz channel
// it starts from: 36 at 80 MHz is centred on 42. Numbers 1 to 13 are the
// 2.4 GHz channels, at 20 MHz only, since a number does not say on which side
// a wider one lies. Others wrap ErrRange.
func ChannelNumbered(number int, width MHz) (Channel, error) {
	if number >= 1 && number <= 13 && width == 20 {
		return Channel{MHz(2407 + 5*number), width}, nil
	}
	blocks, primary := channels5[width], slices.Contains(channels5[20], number)
	for _, n := range blocks {
		c := Channel{MHz(5000 + 5*n), width}
		if n == number || primary && c.holds(MHz(5000+5*number)) {
			return c, nil
		}
	}
	return Channel{}, fmt.Errorf("channel %d at %v MHz: no such channel: %w", number, float64(width), ErrRange)
}

// Number is the channel's number, false where the centre is not that of a
// standard channel of this width. A radio for links may use such a centre all the same.
func (c Channel) Number() (int, bool) {
	for n := 1; n <= 13 && c.Width == 20; n++ {
		if c.Centre == MHz(2407+5*n) {
			return n, true
		}
	}
	for _, n := range channels5[c.Width] {
		if c.Centre == MHz(5000+5*n) {
			return n, true
		}
	}
	return 0, false
}

// Overlap is how many MHz the two channels share; zero also where either has
// no width. Neighbours that touch share none, though radios side by side
// still disturb each other.
func (c Channel) Overlap(o Channel) MHz {
	if c.check() != nil || o.check() != nil {
		return 0
	}
	low := max(c.Centre-c.Width/2, o.Centre-o.Width/2)
	high := min(c.Centre+c.Width/2, o.Centre+o.Width/2)
	return max(0, high-low)
}

func (c Channel) holds(f MHz) bool { return f > c.Centre-c.Width/2 && f < c.Centre+c.Width/2 }

// touches reports whether the channel reaches into the band.
func (c Channel) touches(from, to MHz) bool {
	return c.Overlap(Channel{(from + to) / 2, to - from}) > 0
}

func (c Channel) check() error {
	if err := within("frequency", c.Centre, leastMHz, mostMHz, "MHz"); err != nil {
		return err
	}
	return within("width", c.Width, 1, 1000, "MHz")
}

// DFS is what radar detection does to a link. It informs: whether and how it
// applies is for the local rules to say.
type DFS struct {
	ListenLeast time.Duration // silence before the first transmission, and after every power cut
	ListenMost  time.Duration
	Closed      time.Duration // how long the channel stays closed after radar was heard
}

// DFS tells what radar detection asks of the channel; false outside the ranges
// 5250 to 5350 and 5470 to 5725 MHz (ECC/DEC/(04)08). On such a channel a
// link can move by itself, so that another channel than planned is no fault.
func (c Channel) DFS() (DFS, bool) {
	if !c.touches(5250, 5350) && !c.touches(5470, 5725) {
		return DFS{}, false
	}
	d := DFS{ListenLeast: time.Minute, ListenMost: time.Minute, Closed: 30 * time.Minute}
	if c.touches(5600, 5650) { // weather radar: "60 to 600 seconds" by makers' texts
		d.ListenMost = 10 * time.Minute
	}
	return d, true
}

// indoorInEurope reports whether the channel reaches into the range that
// ECC/DEC/(04)08 keeps for indoor use.
func (c Channel) indoorInEurope() bool { return c.touches(5150, 5350) }
