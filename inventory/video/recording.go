package video

import (
	"errors"
	"fmt"
	"math"
)

const (
	secondsADay = 86_400

	mostStream  BitRate = 10e9 // no camera sends more; keeps the sums within an int64
	mostStreams         = 1000
	mostDays    Days    = 36_500
	mostDisk            = 1_000_000 * TB
)

// ErrNoStreams is returned, wrapped, where there is nothing to record.
var ErrNoStreams = errors.New("no streams")

// Days is a length of time in days of 86,400 seconds.
type Days float64

// Stream is what one camera sends.
type Stream struct {
	Rate BitRate // plan on the cap for links, on the mean for disk (common practice)
	Duty float64 // share of the day that is recorded; zero counts as 1, the whole day
}

// mean is what the stream puts on the disk, in bits a second over the day.
func (s Stream) mean() float64 {
	if s.Duty == 0 {
		return float64(s.Rate)
	}
	return float64(s.Rate) * s.Duty
}

func (s Stream) check() error {
	return errors.Join(
		within("stream", s.Rate, 1, mostStream, "bit/s"),
		within("duty", s.Duty, 0, 1, ""))
}

// Recording is what a recorder is meant to keep.
type Recording struct {
	Disk    Bytes   // zero: not said; then only what it takes is computed
	Reserve float64 // share of the disk that recordings do not get; file system, index and the recorder's own reserve take 0.05 to 0.1 (common practice)
	Streams []Stream
	Want    Days // zero: not said
}

// Paper is what a recording comes to by calculation.
type Paper struct {
	Usable Bytes   // of the disk, less the reserve
	Mean   BitRate // onto the disk, over the day
	PerDay Bytes
	Kept   Days  // before the oldest is overwritten; zero without a disk
	Needs  Bytes // disk for the wanted days, reserve included; zero without a wish
	Short  bool  // the disk keeps less than is wanted
}

// Paper computes the recording: days = usable bytes / (sum of rate x duty / 8 x
// 86,400). Its error joins all that is wrong and wraps ErrRange or ErrNoStreams.
func (r Recording) Paper() (Paper, error) {
	if err := r.check(); err != nil {
		return Paper{}, fmt.Errorf("recording: %w", err)
	}
	mean := r.mean()
	perDay := mean / 8 * secondsADay
	p := Paper{
		Usable: r.usable(),
		Mean:   BitRate(math.Round(mean)),
		PerDay: Bytes(math.Round(perDay)),
	}
	p.Kept = Days(float64(p.Usable) / perDay)
	if r.Want > 0 {
		needs := float64(r.Want) * perDay / (1 - r.Reserve)
		if needs > float64(mostDisk) {
			return Paper{}, fmt.Errorf("recording: disk for %v days: over %v: %w", float64(r.Want), mostDisk, ErrRange)
		}
		p.Needs = Bytes(math.Ceil(needs - tiny))
		p.Short = r.Disk > 0 && p.Kept < r.Want-tiny
	}
	return p, nil
}

// tiny is less than any byte, day or camera that counts, and more than what
// floating point leaves of an even division.
const tiny = 1e-6

// More is how many further cameras that send s the disk keeps for the wanted
// days; zero also when it keeps too little already. Disk and Want are needed;
// a recorder without streams yet is fine.
func (r Recording) More(s Stream) (int, error) {
	err := s.check()
	if len(r.Streams) > 0 {
		err = errors.Join(err, r.check())
	} else {
		err = errors.Join(err, r.checkDisk())
	}
	if err == nil && (r.Disk == 0 || r.Want == 0) {
		err = fmt.Errorf("room needs a disk and the days wanted: %w", ErrRange)
	}
	if err != nil {
		return 0, fmt.Errorf("recording: %w", err)
	}
	left := float64(r.usable())*8/(float64(r.Want)*secondsADay) - r.mean()
	return count(left / s.mean()), nil
}

func (r Recording) usable() Bytes { return Bytes(math.Round(float64(r.Disk) * (1 - r.Reserve))) }

func (r Recording) mean() float64 {
	var sum float64
	for _, s := range r.Streams {
		sum += s.mean()
	}
	return sum
}

func (r Recording) check() error {
	if len(r.Streams) == 0 {
		return errors.Join(ErrNoStreams, r.checkDisk())
	}
	errs := []error{r.checkDisk(), within("number of streams", len(r.Streams), 1, mostStreams, "")}
	for i, s := range r.Streams[:min(len(r.Streams), mostStreams)] {
		if err := s.check(); err != nil {
			errs = append(errs, fmt.Errorf("stream %d: %w", i+1, err))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	// A duty so small that nothing is kept would divide by next to nothing.
	return within("recorded rate", r.mean(), 0.001, math.MaxInt64, "bit/s")
}

func (r Recording) checkDisk() error {
	return errors.Join(
		within("disk", r.Disk, 0, mostDisk, "bytes"),
		within("reserve", r.Reserve, 0, 0.9, "of the disk"),
		within("days wanted", r.Want, 0, mostDays, ""))
}

// count is how many whole ones fit, held to what an int surely takes.
func count(n float64) int {
	if !(n > 0) {
		return 0
	}
	return int(min(math.Floor(n+tiny), 1e9))
}
