package radio

import (
	"fmt"
	"strconv"
	"strings"
)

// wallText is how people name what stands in the way.
var (
	wallMaterials = map[string]string{
		"concrete": "concrete", "brick": "brick", "bricks": "brick", "masonry": "brick",
		"plasterboard": "plasterboard", "drywall": "plasterboard", "gypsum": "plasterboard",
		"wood": "wood", "wooden": "wood", "timber": "wood",
		"glass": "glass", "window": "glass", "windows": "glass",
		"chipboard": "chipboard",
		"metal":     "metal", "steel": "metal", "foil": "metal",
	}
	wallNumbers = map[string]int{
		"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5,
		"six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	}
	wallWorse  = map[string]bool{"wet": true, "coated": true, "low-e": true, "foil-backed": true}
	wallFiller = map[string]bool{
		"wall": true, "walls": true, "pane": true, "panes": true, "door": true, "doors": true, "sheet": true,
		"slab": true, "slabs": true, "of": true, "x": true, "the": true, "thick": true, "plain": true, "dry": true, "each": true,
	}
	wallUnits = map[string]float64{"mm": 0.001, "cm": 0.01, "m": 1, "db": 1}
)

// ParseWall reads what the plan says stands in the way: "two brick walls",
// "concrete wall 200 mm", "coated glass", "old boiler house 12 dB". A stated
// loss is that of each and goes with any words; without one the words must
// name a material. Its errors say which word was not understood; out of range
// figures are left to Wall.Loss.
func ParseWall(text string) (Wall, error) {
	if len(text) > 200 {
		return Wall{}, fmt.Errorf("obstacle of %d characters: at most 200", len(text))
	}
	var w Wall
	var unknown []string
	words := strings.Fields(strings.ToLower(text))
	for i := 0; i < len(words); i++ {
		word := strings.Trim(words[i], ",;()")
		number, unit, isNumber := cutNumber(word)
		if isNumber && unit == "" && i+1 < len(words) {
			if _, ok := wallUnits[words[i+1]]; ok {
				i++
				unit = words[i]
			}
		}
		switch {
		case isNumber && unit == "db":
			w.Stated = DB(number)
		case isNumber && wallUnits[unit] > 0:
			w.Thickness = Metres(number * wallUnits[unit])
		case isNumber && (unit == "" || unit == "x") && number == float64(int(number)) && number >= 1 && number <= 100 && i == 0:
			w.Count = int(number)
		case wallNumbers[word] > 0 && i == 0:
			w.Count = wallNumbers[word]
		case wallMaterials[word] != "" && (w.Material == "" || w.Material == wallMaterials[word]):
			w.Material = wallMaterials[word]
		case wallWorse[word]:
			w.Worse = true
		case word == "" || wallFiller[word]:
		default:
			unknown = append(unknown, words[i])
		}
	}
	return w.named(text, unknown)
}

// named finishes a parse: with a stated loss the plan's words are the name.
func (w Wall) named(text string, unknown []string) (Wall, error) {
	switch {
	case w.Stated > 0:
		w.Material, w.Worse, w.Count = strings.TrimSpace(text), false, max(w.Count, 1)
	case len(unknown) > 0:
		return Wall{}, fmt.Errorf("obstacle %q: %q not understood; name a material (concrete, brick, plasterboard, wood, glass, chipboard, metal) or state its loss, as in \"boiler house 12 dB\"", text, unknown[0])
	case w.Material == "":
		return Wall{}, fmt.Errorf("obstacle %q names no material and no loss in dB", text)
	}
	return w, nil
}

// cutNumber splits "220mm" into 220 and "mm", "2x" into 2 and "x".
func cutNumber(word string) (number float64, unit string, ok bool) {
	end := strings.LastIndexAny(word, "0123456789") + 1
	if end == 0 || strings.Trim(word[:end], "0123456789.") != "" {
		return 0, "", false
	}
	n, err := strconv.ParseFloat(word[:end], 64)
	if err != nil || n > 1e6 {
		return 0, "", false
	}
	return n, word[end:], true
}
