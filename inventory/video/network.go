package video

import (
	"fmt"
	"math"
)

const (
	// overhead of RTP, UDP, IP and Ethernet over the stream: 3 to 5 % (common practice).
	overhead = 1.05

	// headroom is the share of a link that cameras should take at most (common practice).
	headroom = 0.7

	// portShare of a cable port's speed is data (common practice).
	portShare = 0.9

	mostLink BitRate = 1e12
)

// NetworkLoad is what the streams put on every link that they cross, overhead
// included. Duty does not count: a stream is often sent all day though only
// motion is kept. Each further viewer of the main stream is one stream more.
func NetworkLoad(streams []Stream) (BitRate, error) {
	if err := within("number of streams", len(streams), 0, mostStreams, ""); err != nil {
		return 0, fmt.Errorf("network load: %w", err)
	}
	var sum BitRate
	for i, s := range streams {
		if err := s.check(); err != nil {
			return 0, fmt.Errorf("network load: stream %d: %w", i+1, err)
		}
		sum += s.Rate
	}
	return BitRate(math.Round(float64(sum) * overhead)), nil
}

// PortUsable is what a cable port carries of data in one direction: 90 % of
// its speed. Zero for a speed that is unknown.
func PortUsable(speed BitRate) BitRate {
	if speed <= 0 || speed > mostLink {
		return 0
	}
	return BitRate(math.Round(float64(speed) * portShare))
}

// LinkLoad is a load held against what a link carries.
type LinkLoad struct {
	Known bool // both figures are
	Share float64
	Near  bool // over the share that cameras should take
	Over  bool // more than the link carries
}

// JudgeLink holds a load against what the link carries of data. Share near is
// where a load counts as near it; zero, and any value that is not between 0
// and 1, counts as 0.7. A usable rate of zero or less is unknown, as is a load
// below zero.
func JudgeLink(load, usable BitRate, near float64) LinkLoad {
	if usable <= 0 || load < 0 {
		return LinkLoad{}
	}
	if !(near > 0 && near <= 1) {
		near = headroom
	}
	share := float64(load) / float64(usable)
	return LinkLoad{Known: true, Share: share, Near: share > near, Over: load > usable}
}
