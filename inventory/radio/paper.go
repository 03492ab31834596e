package radio

import (
	"errors"
	"fmt"
)

// rounding is what sums of decimal fractions may be off, far under any real decibel.
const rounding DB = 1e-9

// Paper is what a link comes to by calculation. Arrays follow Link.Ends.
type Paper struct {
	FreeSpace DB
	Losses    []Loss // beside free space, in the order walls, obstacle, other
	PathLoss  DB     // free space and Losses
	Fade      DB     // clear-air fade, raises Wanted; zero up to 5 km
	Middle    Zone
	Obstacle  Zone   // zero: none stated
	Short     Metres // free height missing at the obstacle; zero: none

	Arrives [2]Arrival
	Wanted  DB   // margin wanted over the sensitivity
	Best    Step // highest rate with that margin at both ends
	Needed  Step // lowest rate that carries the load, whatever its margin

	Usable  BitRate // data at the best rate, both directions together; zero: no rate known, or none has the margin
	Hopeful BitRate // the optimistic bound of the same
	Bounded string  // what bounds Usable: "air", or the end whose cable port does
	Share   float64 // load by Usable; zero without either
	Near    bool    // the load is over the near share
	Over    bool    // the load is more than the link carries

	DFS   *DFS     // nil: the channel lies outside the DFS ranges
	Notes []string // what a reader must know, for people
}

// Arrival is what one end gets, and what it sends.
type Arrival struct {
	Level     DBm // received
	Noise     DBm // floor
	SNR       DB
	TooStrong bool // above -30 dBm, the most that a receiver must stand: lower the power
	EIRP      DBm  // radiated by this end
	Over      DB   // its EIRP over the stated limit; zero: within, or no limit stated
}

// Step is one rate of the link.
type Step struct {
	Found  bool
	MCS    int     // within one stream
	Rate   BitRate // in the air
	Margin DB      // of the weaker end over its sensitivity
}

// Paper computes the link. Its error joins all that is wrong with the plan of
// it and wraps ErrRange or ErrNoRate; the result is then zero.
func (l Link) Paper() (Paper, error) {
	l.defaults()
	if err := l.check(); err != nil {
		return Paper{}, fmt.Errorf("radio link: %w", err)
	}
	var p Paper
	err := p.path(&l)
	if err == nil {
		err = p.levels(&l)
	}
	if err == nil && l.Mode.Standard != "" {
		err = p.rates(&l)
	}
	if err != nil {
		return Paper{}, fmt.Errorf("radio link: %w", err)
	}
	p.load(&l)
	p.notes(&l)
	return p, nil
}

// path sums what lies between the antennas.
func (p *Paper) path(l *Link) (err error) {
	f := l.Channel.Centre
	if p.FreeSpace, err = FreeSpaceLoss(l.Distance, f); err != nil {
		return err
	}
	if l.Distance >= 2*leastMetres {
		if p.Middle, err = FresnelZone(l.Distance/2, l.Distance/2, f); err != nil {
			return err
		}
	}
	var errs []error
	for _, w := range l.Walls {
		loss, err := w.Loss(f)
		errs = append(errs, err)
		p.Losses = append(p.Losses, loss)
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	if l.Obstacle != 0 {
		if err := p.obstacle(l); err != nil {
			return err
		}
	}
	if l.Other > 0 {
		p.Losses = append(p.Losses, Loss{"other", l.Other, statedBasis})
	}
	p.PathLoss = p.FreeSpace
	for _, loss := range p.Losses {
		p.PathLoss += loss.DB
	}
	if l.Multipath != nil {
		p.Fade, err = l.Multipath.Fade(l.Distance, f)
	}
	return err
}

func (p *Paper) obstacle(l *Link) (err error) {
	if p.Obstacle, err = FresnelZone(l.Obstacle, l.Distance-l.Obstacle, l.Channel.Centre); err != nil {
		return err
	}
	p.Short = max(0, p.Obstacle.Wanted-l.Clearance)
	loss, err := DiffractionLoss(max(l.Clearance-p.Obstacle.Bulge, -mostHeight), p.Obstacle.Radius)
	if err == nil && loss > 0 {
		p.Losses = append(p.Losses, Loss{"obstacle in the path", loss, "ITU-R P.530 over average terrain"})
	}
	return err
}

// levels is what arrives at each end from the other.
func (p *Paper) levels(l *Link) (err error) {
	for i := range l.Ends {
		from, to, a := &l.Ends[1-i], &l.Ends[i], &p.Arrives[i]
		a.Level = from.radiated() - DBm(p.PathLoss) + DBm(to.Gain) - DBm(to.Feeder)
		if a.Noise, err = NoiseFloor(l.Channel.Width, to.NoiseFigure); err != nil {
			return err
		}
		a.SNR = DB(a.Level - a.Noise)
		a.TooStrong = a.Level > strongest
		a.EIRP = to.radiated()
		if l.Limit != nil {
			if over := DB(a.EIRP - *l.Limit); over > rounding {
				a.Over = over
			}
		}
	}
	p.Wanted = max(l.Margin, p.Fade)
	return nil
}

// rates finds the best and the needed step. Both directions use the same MCS,
// that of the weaker end, since a plan goes by the lower rate.
func (p *Paper) rates(l *Link) error {
	if _, err := l.Mode.Rate(0, l.Channel.Width); err != nil {
		return err // MCS 0 exists wherever the combination does
	}
	for mcs := range modulations {
		rate, err := l.Mode.Rate(mcs, l.Channel.Width)
		if err != nil {
			continue // an MCS that this standard leaves out
		}
		s := Step{Found: true, MCS: mcs, Rate: rate}
		for i := range l.Ends {
			least, err := l.Ends[i].needs(mcs, l.Channel.Width)
			if err != nil {
				return err
			}
			if margin := DB(p.Arrives[i].Level - least); i == 0 || margin < s.Margin {
				s.Margin = margin
			}
		}
		if s.Margin >= p.Wanted-rounding {
			p.Best = s
		}
		if !p.Needed.Found && float64(usable(rate, rate, l.Efficiency))*l.Near >= float64(l.Load) {
			p.Needed = s
		}
	}
	return nil
}

// load holds the load against what the link carries, the cable ports at both
// ends included: a 100 Mbit/s port bounds a faster air.
func (p *Paper) load(l *Link) {
	if !p.Best.Found {
		p.Over = l.Load > 0 && l.Mode.Standard != ""
		return
	}
	p.Usable = usable(p.Best.Rate, p.Best.Rate, l.Efficiency)
	p.Hopeful = usable(p.Best.Rate, p.Best.Rate, max(hopefulShare, l.Efficiency))
	p.Bounded = "air"
	for i := range l.Ends {
		port := BitRate(float64(l.Ends[i].Port) * portShare)
		if port > 0 && port < p.Usable {
			p.Usable, p.Bounded = port, l.Ends[i].Name
		}
		if port > 0 {
			p.Hopeful = min(p.Hopeful, port)
		}
	}
	if p.Usable > 0 {
		p.Share = float64(l.Load) / float64(p.Usable)
	}
	p.Near = p.Share > l.Near
	p.Over = l.Load > p.Usable
}

// notes says what the figures leave open.
func (p *Paper) notes(l *Link) {
	note := func(format string, args ...any) { p.Notes = append(p.Notes, fmt.Sprintf(format, args...)) }
	if l.Mode.Standard == "" {
		note("The plan does not say which 802.11 standard the link uses, so there is no rate and no margin.")
	}
	if len(l.Walls) > 0 {
		note("%s", WallNote)
	}
	if l.Distance > multipathFrom && l.Multipath == nil {
		note("ITU-R P.530 asks for a fade margin on paths over 5 km; the plan gives nothing to compute it from, so the margin leaves it out.")
	}
	if c, err := l.centred(); err == nil && c != l.Channel {
		note("%g MHz is the centre of a 20 MHz channel; the %g MHz channel that holds it is centred on %g MHz. The calculation goes by the plan.",
			float64(l.Channel.Centre), float64(c.Width), float64(c.Centre))
	}
	if d, ok := l.Channel.DFS(); ok {
		p.DFS = &d
		span := fmt.Sprintf("%g to %g minutes", d.ListenLeast.Minutes(), d.ListenMost.Minutes())
		if d.ListenLeast == d.ListenMost {
			span = fmt.Sprintf("%g min", d.ListenLeast.Minutes())
		}
		note("The channel lies in a DFS range: the link is silent for %s after every power cut, and may change channel by itself.", span)
	}
	if l.Outdoor && l.Channel.indoorInEurope() {
		note("ECC/DEC/(04)08 keeps 5150 to 5350 MHz for indoor use; check the local rules for this outdoor link.")
	}
	if l.Limit == nil {
		note("The plan states no limit of radiated power for its country, so the power is not judged.")
	}
}

// centred is the standard channel of the link's width around a 20 MHz centre.
func (l *Link) centred() (Channel, error) {
	if _, ok := l.Channel.Number(); ok {
		return l.Channel, nil
	}
	n, ok := Channel{l.Channel.Centre, 20}.Number()
	if !ok {
		return l.Channel, nil
	}
	return ChannelNumbered(n, l.Channel.Width)
}
