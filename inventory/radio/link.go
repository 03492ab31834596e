package radio

import (
	"errors"
	"fmt"
)

// Link is one radio link as planned. Ends, Distance and Channel are needed; the
// zero value of the rest works.
type Link struct {
	Ends     [2]Station // the near side first
	Distance Metres
	Channel  Channel
	Mode     Mode // without a Standard there is a level but no rate
	Outdoor  bool

	Walls     []Wall
	Obstacle  Metres // from the near side to the highest point below the ray; zero: none stated
	Clearance Metres // free height there, negative if it stands in the ray
	Other     DB     // stated loss beside all that, such as foliage
	Multipath *Multipath

	Limit *DBm // radiated power that the plan states for its country; nil: not judged

	Load       BitRate // data, both directions together; zero: not said
	Margin     DB      // wanted over the sensitivity; zero: 10 dB, the least by common practice (15 to 20 is better)
	Efficiency float64 // data as a share of the air rate; zero: 0.5
	Near       float64 // share of what the link carries from which the load is near it; zero: 0.7
}

// Station is one end of a link.
type Station struct {
	Name        string
	Power       DBm         // at the radio's own socket
	Gain        DBi         // of the antenna
	Feeder      DB          // lost in cable and plugs
	NoiseFigure DB          // zero: 10 dB
	Sensitivity map[int]DBm // the maker's, by MCS within one stream; what is missing is the standard's
	Port        BitRate     // of its cable side; zero: not said
}

const usualMargin DB = 10

// defaults fills in what the zero values stand for.
func (l *Link) defaults() {
	if l.Margin == 0 {
		l.Margin = usualMargin
	}
	if l.Efficiency == 0 {
		l.Efficiency = planningShare
	}
	if l.Near == 0 {
		l.Near = nearShare
	}
	for i := range l.Ends {
		if l.Ends[i].NoiseFigure == 0 {
			l.Ends[i].NoiseFigure = usualNoiseFigure
		}
	}
}

// check joins all that is wrong with the link.
func (l *Link) check() error {
	errs := []error{
		within("distance", l.Distance, leastMetres, mostMetres, "m"),
		l.Channel.check(),
		within("other loss", l.Other, 0, mostLoss, "dB"),
		within("load", l.Load, 0, mostRate, "bit/s"),
		within("margin", l.Margin, 0, 100, "dB"),
		within("efficiency", l.Efficiency, 0.01, 1, ""),
		within("near share", l.Near, 0.01, 1, ""),
		within("number of walls", len(l.Walls), 0, 100, ""),
	}
	if l.Limit != nil {
		errs = append(errs, within("power limit", *l.Limit, leastLevel, mostLevel, "dBm"))
	}
	if l.Obstacle != 0 {
		errs = append(errs,
			within("obstacle", l.Obstacle, leastMetres, l.Distance-leastMetres, "m from the near side"),
			within("clearance", l.Clearance, -mostHeight, mostHeight, "m"))
	}
	for i := range l.Ends {
		if err := l.Ends[i].check(); err != nil {
			errs = append(errs, fmt.Errorf("end %d %.60q: %w", i+1, l.Ends[i].Name, err))
		}
	}
	return errors.Join(errs...)
}

func (s *Station) check() error {
	errs := []error{
		within("power", s.Power, leastLevel, mostLevel, "dBm"),
		within("gain", s.Gain, leastGain, mostGain, "dBi"),
		within("feeder", s.Feeder, 0, mostLoss, "dB"),
		within("noise figure", s.NoiseFigure, 0, 50, "dB"),
		within("port", s.Port, 0, mostRate, "bit/s"),
	}
	for mcs, level := range s.Sensitivity {
		errs = append(errs,
			within("MCS", mcs, 0, len(modulations)-1, ""),
			within("sensitivity", level, -150, 0, "dBm"))
	}
	return errors.Join(errs...)
}

// radiated is the station's EIRP.
func (s *Station) radiated() DBm { return s.Power - DBm(s.Feeder) + DBm(s.Gain) }

// needs is the level that the station must get for an MCS.
func (s *Station) needs(mcs int, width MHz) (DBm, error) {
	if level, ok := s.Sensitivity[mcs]; ok {
		return level, nil
	}
	return Sensitivity(mcs, width)
}
