package digest

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"slices"
	"time"

	"boundwalk/inventory"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// A picture is drawn for the width of a phone, where it is smallest, with two
// and a half dots for each of its 340 pixels. One point is one pixel there.
const (
	pictureWidth  = 340 * vg.Length(1)
	pictureHeight = 180 * vg.Length(1)
	legendLine    = 14 * vg.Length(1)
	pictureDPI    = 72 * 2.5
)

// The inks differ in lightness as well as in hue, and each line has its own
// dashes, so that colour is not needed to tell them apart.
var (
	ink     = color.RGBA{0x22, 0x26, 0x2b, 0xff}
	softInk = color.RGBA{0x5a, 0x5f, 0x66, 0xff}
	gridInk = color.RGBA{0xe0, 0xdc, 0xd3, 0xff}
	lines   = []draw.LineStyle{
		{Color: color.RGBA{0x1f, 0x5c, 0x68, 0xff}, Width: vg.Points(1.6)},
		{Color: color.RGBA{0xb2, 0x55, 0x2b, 0xff}, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(5), vg.Points(2)}},
		{Color: color.RGBA{0x7d, 0x8c, 0x3a, 0xff}, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(1.5), vg.Points(1.5)}},
	}
	limitLine = draw.LineStyle{Color: color.RGBA{0xa3, 0x20, 0x2a, 0xff}, Width: vg.Points(1)}
	nearLine  = draw.LineStyle{Color: color.RGBA{0xa3, 0x20, 0x2a, 0xff}, Width: vg.Points(0.7), Dashes: []vg.Length{vg.Points(2), vg.Points(3)}}
)

// pictures are a week of power of the fullest supply, and of the fullest ports
// as shares of their limits.
func (b *builder) pictures() ([]Picture, error) {
	var out []Picture
	add := func(p Picture, err error) error {
		if err == nil && p.PNG != nil {
			out = append(out, p)
		}
		return err
	}
	for _, l := range b.drawnSupplies() {
		if err := add(b.supplyPicture(l)); err != nil {
			return nil, err
		}
	}
	if err := add(b.portsPicture(b.drawnPorts())); err != nil {
		return nil, err
	}
	return out, nil
}

// pictured is how much of the past a picture shows.
const pictured = 7 * day

// curve is what is drawn of one supply or port: stretches of samples without a
// gap between, and the peaks of the days, which fall between two samples.
type curve struct {
	stretches []plotter.XYs
	peaks     plotter.XYs
	low, high inventory.Power
	n         int
	from, to  time.Time
}

func (b *builder) curve(samples []Sample, peaks []inventory.Peak, value func(inventory.Power) float64) curve {
	var c curve
	from := b.Now.Add(-pictured)
	gap := 3 * medianStep(samples)
	var last time.Time
	for _, s := range samples {
		if s.At.Before(from) || s.At.After(b.Now) {
			continue
		}
		if c.n == 0 {
			c.low, c.from = s.Draw, s.At
		}
		c.low, c.to = min(c.low, s.Draw), s.At
		c.high = max(c.high, s.Draw)
		if c.n == 0 || s.At.Sub(last) > gap {
			c.stretches = append(c.stretches, nil)
		}
		k := len(c.stretches) - 1
		c.stretches[k] = append(c.stretches[k], plotter.XY{X: float64(s.At.Unix()), Y: value(s.Draw)})
		last = s.At
		c.n++
	}
	for _, k := range peaks {
		if k.Basis == inventory.Measured && !k.At.Before(from) && !k.At.After(b.Now) {
			c.peaks = append(c.peaks, plotter.XY{X: float64(k.At.Unix()), Y: value(k.Draw)})
			c.high = max(c.high, k.Draw)
		}
	}
	return c
}

// medianStep is the usual time between two samples; at least a minute.
func medianStep(samples []Sample) time.Duration {
	var steps []time.Duration
	for i := 1; i < len(samples); i++ {
		steps = append(steps, samples[i].At.Sub(samples[i-1].At))
	}
	if len(steps) == 0 {
		return time.Minute
	}
	slices.Sort(steps)
	return max(steps[len(steps)/2], time.Minute)
}

// worth reports whether there is enough to make a picture worth its place.
func (c curve) worth() bool { return c.n >= 8 && c.to.Sub(c.from) >= 12*time.Hour }

func (b *builder) supplyPicture(l load) (Picture, error) {
	c := b.curve(b.Samples.Supplies[l.Supply], b.History.Supplies[l.Supply], inventory.Power.Watts)
	if !c.worth() {
		return Picture{}, nil
	}
	p := b.newPlot(l.Name + ", watts (dots: the day's peak)")
	top := max(l.Limit.Watts(), c.high.Watts())
	p.Y.Max = top * 1.04
	p.Y.Tick.Marker = ticker(func(float64, float64) []plot.Tick { return evenTicks(top, "") })
	if err := b.levels(p, l.Limit.Watts(), "budget "+l.Limit.String(), l.Near); err != nil {
		return Picture{}, err
	}
	if _, err := addCurve(p, c, lines[0]); err != nil {
		return Picture{}, err
	}
	alt := fmt.Sprintf("A week of power from %s: between %s and %s of %s.", l.Name, c.low, c.high, l.Limit)
	if l.Near > 0 {
		alt += fmt.Sprintf(" The dotted line is at %s.", percent(l.Near))
	}
	png, err := encode(p, newLegend(), 0)
	return Picture{CID: "supply.power", PNG: png, Alt: alt}, err
}

func (b *builder) portsPicture(ports []load) (Picture, error) {
	p, names := b.newPlot("Fullest ports, share of the limit (dots: the day's peak)"), newLegend()
	top, shown, alt := 100.0, 0, "A week of power on the fullest ports, as a share of their limits:"
	for i, l := range ports {
		value := func(w inventory.Power) float64 { return 100 * share(w, l.Limit) }
		c := b.curve(b.Samples.Ports[l.Port], b.History.Peaks[l.Port], value)
		if !c.worth() {
			continue
		}
		top = max(top, value(c.high))
		line, err := addCurve(p, c, lines[i%len(lines)])
		if err != nil {
			return Picture{}, err
		}
		names.Add(inventory.CleanTo(l.Name, 44), line)
		alt += fmt.Sprintf(" %s at most %s of %s.", l.Name, c.high, l.Limit)
		shown++
	}
	if shown == 0 {
		return Picture{}, nil
	}
	if err := b.levels(p, 100, "limit", b.Plan.Near.PortShare); err != nil {
		return Picture{}, err
	}
	p.Y.Max = top * 1.04
	p.Y.Tick.Marker = ticker(func(float64, float64) []plot.Tick { return evenTicks(top, " %") })
	png, err := encode(p, names, shown)
	return Picture{CID: "ports.power", PNG: png, Alt: alt}, err
}

func (b *builder) newPlot(title string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = color.White
	p.Title.Text = title
	p.Title.Padding = vg.Points(4)
	p.Title.TextStyle.Color = ink
	p.Title.TextStyle.Font = sans(11)
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Tick.Label.Font = sans(10)
		axis.Tick.Label.Color, axis.Color, axis.Tick.Color = ink, softInk, softInk
		axis.Tick.Length = vg.Points(3)
		axis.Padding = 0
	}
	from := b.Now.Add(-pictured)
	p.X.Min, p.X.Max, p.Y.Min = float64(from.Unix()), float64(b.Now.Unix()), 0
	p.X.Tick.Marker = ticker(func(float64, float64) []plot.Tick { return b.dayTicks(from) })
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = gridInk, gridInk
	p.Add(grid)
	return p
}

func sans(size float64) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(size)}
}

// dayTicks marks each midnight of the site by the day that begins.
func (b *builder) dayTicks(from time.Time) []plot.Tick {
	var out []plot.Tick
	y, m, d := from.In(b.loc).Date()
	for k := range int(pictured/day) + 2 {
		start := time.Date(y, m, d+k, 0, 0, 0, 0, b.loc)
		if !start.Before(from) && start.Before(b.Now) {
			out = append(out, plot.Tick{Value: float64(start.Unix()), Label: start.Format("Mon 2")})
		}
	}
	return out
}

// evenTicks divides 0 to top into four or five steps of a round size.
func evenTicks(top float64, unit string) []plot.Tick {
	size := math.Pow(10, math.Floor(math.Log10(max(top, 1e-3)/5)))
	for _, k := range []float64{1, 2, 2.5, 5, 10} {
		if top/(size*k) <= 5.001 {
			size *= k
			break
		}
	}
	var out []plot.Tick
	for v := 0.0; v <= top*1.001 && len(out) < 12; v += size {
		out = append(out, plot.Tick{Value: v, Label: fmt.Sprintf("%g%s", math.Round(v*1000)/1000, unit)})
	}
	return out
}

// ticker makes a function a plot.Ticker.
type ticker func(low, high float64) []plot.Tick

// Ticks is what plot asks for.
func (f ticker) Ticks(low, high float64) []plot.Tick { return f(low, high) }

// levels draws the limit, and the share of it that is near, each with its name
// below the line. A share of 0 draws nothing.
func (b *builder) levels(p *plot.Plot, limit float64, name string, near float64) error {
	p.Add(level(limit, limitLine, b))
	ends := plotter.XYLabels{XYs: plotter.XYs{{X: p.X.Min, Y: limit}}, Labels: []string{name}}
	if near > 0 {
		p.Add(level(limit*near, nearLine, b))
		ends.XYs = append(ends.XYs, plotter.XY{X: p.X.Min, Y: limit * near})
		ends.Labels = append(ends.Labels, "near, "+percent(near))
	}
	labels, err := plotter.NewLabels(ends)
	if err != nil {
		return err
	}
	for i := range labels.TextStyle {
		labels.TextStyle[i].Font, labels.TextStyle[i].Color = sans(8), limitLine.Color
		labels.TextStyle[i].YAlign = draw.YTop
	}
	labels.Offset = vg.Point{X: vg.Points(3), Y: -vg.Points(1)}
	p.Add(labels)
	return nil
}

// level is a line across the whole week.
func level(y float64, style draw.LineStyle, b *builder) *plotter.Line {
	return &plotter.Line{LineStyle: style, XYs: plotter.XYs{
		{X: float64(b.Now.Add(-pictured).Unix()), Y: y}, {X: float64(b.Now.Unix()), Y: y}}}
}

// addCurve draws the stretches and the peaks; the line is for a legend.
func addCurve(p *plot.Plot, c curve, style draw.LineStyle) (*plotter.Line, error) {
	var line *plotter.Line
	for _, xys := range c.stretches {
		var err error
		if line, err = plotter.NewLine(xys); err != nil {
			return nil, err
		}
		line.LineStyle = style
		p.Add(line)
	}
	if len(c.peaks) == 0 {
		return line, nil
	}
	dots, err := plotter.NewScatter(c.peaks)
	if err != nil {
		return nil, err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: style.Color, Radius: vg.Points(2), Shape: draw.CircleGlyph{}}
	p.Add(dots)
	return line, nil
}

func newLegend() plot.Legend {
	l := plot.NewLegend()
	l.TextStyle.Font, l.TextStyle.Color = sans(10), ink
	l.Left, l.ThumbnailWidth, l.Padding = true, vg.Points(26), vg.Points(3)
	return l
}

// encode draws the plot with its legend below, where no curve can cross it.
func encode(p *plot.Plot, names plot.Legend, entries int) ([]byte, error) {
	below := vg.Length(entries) * legendLine
	c := vgimg.NewWith(vgimg.UseWH(pictureWidth, pictureHeight+below), vgimg.UseDPI(pictureDPI))
	whole := draw.Crop(draw.New(c), vg.Points(4), -vg.Points(8), vg.Points(4), -vg.Points(4))
	p.Draw(draw.Crop(whole, 0, 0, below, 0))
	names.Draw(whole)
	var png bytes.Buffer
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(&png)
	return png.Bytes(), err
}
