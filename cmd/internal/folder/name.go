package folder

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"stripgap/clearance/build"
)

// Given is what a photo's name, or a person, says of the strip in it. What is not
// said is zero.
type Given struct {
	Bearing  string
	Position *float64 // degrees round the journal
	Strip    int      // which strip at this place, from 1
	On       build.Surface
	Lot      build.Strip
}

// or fills what is not said from another.
func (g Given) or(other Given) Given {
	if g.Bearing == "" {
		g.Bearing = other.Bearing
	}
	if g.Position == nil {
		g.Position = other.Position
	}
	if g.Strip == 0 {
		g.Strip = other.Strip
	}
	if g.On == "" {
		g.On = other.On
	}
	if !g.Lot.Named() {
		g.Lot = other.Lot
	}
	return g
}

// The words of a photo's name, parted by hyphens, underscores and spaces.
var (
	positionWord = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)deg$`)
	stripWord    = regexp.MustCompile(`^strip([1-9][0-9]?)$`)
)

// photoName is what a photo's name says.
type photoName struct {
	Given
	side string // "left" or "right" of a pair, else empty
	base string // the name without its side, the same for both of a pair
}

// parseName reads a photo's name: BEARING-WORDS.jpg, where the words, in any order,
// may be a position ("90deg"), a strip ("strip2") and what it lies on ("shell",
// "journal", "flat"), and the last one the side of a pair ("left", "right"). Other
// words say nothing. A name that begins with no bearing's leaves that to the tag;
// one that could be two bearings' is an error.
func parseName(b *build.Build, file string) (photoName, error) {
	stem := strings.TrimSuffix(file, filepath.Ext(file))
	words := strings.FieldsFunc(strings.ToLower(stem), func(r rune) bool { return strings.ContainsRune("-_ ", r) })
	n := photoName{base: strings.Join(words, "-")}
	if k := len(words) - 1; k > 0 && (words[k] == "left" || words[k] == "right") {
		n.side, words = words[k], words[:k]
		n.base = strings.Join(words, "-")
	}
	var fits []string
	for _, name := range b.Names() {
		for k := range words {
			if build.Key(strings.Join(words[:k+1], "")) == build.Key(name) {
				fits = append(fits, name)
			}
		}
	}
	if len(fits) > 1 {
		return n, fmt.Errorf("%s: the name may mean %s; rename the photo or say which with --bearing", file, strings.Join(fits, " or "))
	}
	if len(fits) == 1 {
		n.Bearing = fits[0]
	}
	for _, w := range words {
		switch {
		case slices.Contains([]build.Surface{build.OnShell, build.OnJournal, build.OnFlat}, build.Surface(w)):
			n.On = build.Surface(w)
		case positionWord.MatchString(w):
			a, err := strconv.ParseFloat(positionWord.FindStringSubmatch(w)[1], 64)
			if err != nil {
				return n, fmt.Errorf("%s: %s is not a number of degrees", file, w)
			}
			n.Position = &a
		case stripWord.MatchString(w):
			n.Strip, _ = strconv.Atoi(stripWord.FindStringSubmatch(w)[1])
		}
	}
	return n, nil
}
