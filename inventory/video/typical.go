package video

// Codec is how a camera packs its picture.
type Codec string

// The codecs that there are typical rates for.
const (
	H264 Codec = "h264"
	H265 Codec = "h265"
)

// Estimate is what cameras like this one usually send. It is no fact about any
// one camera: the plan's or the menu's figure goes before it.
type Estimate struct {
	Low, High BitRate
	Basis     string
}

const (
	sellersBasis = "estimate: a camera seller's table, daylight"
	dealersBasis = "estimate: a security dealer's figures"
	halfBasis    = "estimate: about half of H.264, common practice"
)

// typical rates by picture size, the smallest first.
var typical = []struct {
	pixels     int
	h264, h265 Estimate
}{
	{1280 * 720, Estimate{2e6, 2e6, sellersBasis}, Estimate{1e6, 1e6, halfBasis}},
	{1920 * 1080, Estimate{3e6, 4e6, sellersBasis}, Estimate{1.5e6, 2e6, halfBasis}},
	{2048 * 1536, Estimate{2.5e6, 4e6, sellersBasis}, Estimate{1.5e6, 2e6, halfBasis}},
	{2688 * 1520, Estimate{4e6, 4e6, dealersBasis}, Estimate{2e6, 3e6, halfBasis}}, // "at least 4"
	{2592 * 1944, Estimate{3e6, 6e6, sellersBasis}, Estimate{2e6, 4e6, halfBasis}},
	{3840 * 2160, Estimate{10e6, 10e6, dealersBasis}, Estimate{5e6, 5e6, halfBasis}},
}

// Typical estimates a camera's rate at 10 to 30 frames a second from its
// picture's size in pixels, by the next larger size that is tabled. False for
// other codecs, and for pictures that are empty or larger than 3840 x 2160.
// Night noise, rain and leaves raise a variable rate, often to the set cap.
func Typical(width, height int, codec Codec) (Estimate, bool) {
	largest := typical[len(typical)-1].pixels
	if width <= 0 || height <= 0 || width > largest || height > largest || codec != H264 && codec != H265 {
		return Estimate{}, false
	}
	for _, row := range typical {
		if width*height > row.pixels {
			continue
		}
		if codec == H265 {
			return row.h265, true
		}
		return row.h264, true
	}
	return Estimate{}, false
}
