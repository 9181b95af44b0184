package build

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"stripgap/calib/quantity"
	"stripgap/calib/strictfile"
	"stripgap/clearance"
)

// MaxFile bounds a build.toml in bytes; a bearing takes about 300.
const MaxFile = 1 << 20

var buildFormat = strictfile.Format{What: "a build", MaxBytes: MaxFile, Quoted: true}

// buildEntry, groupEntry and bearingEntry are a build as it is written. Figures
// are text because each carries its unit.
type buildEntry struct {
	Name        string            `toml:"name"`
	Note        string            `toml:"note"`
	Temperature string            `toml:"temperature"`
	TaperLimit  string            `toml:"taper_limit"`
	StripLot    string            `toml:"strip_lot"`
	StripFile   string            `toml:"strip_file"`
	Preparation []preparationLine `toml:"preparation"`
	Group       []groupEntry      `toml:"group"`
}

type preparationLine struct {
	Done bool   `toml:"done"`
	What string `toml:"what"`
}

type groupEntry struct {
	Name              string         `toml:"name"`
	Kind              string         `toml:"kind"`
	LimitsNew         string         `toml:"limits_new"`
	LimitsNewAlso     string         `toml:"limits_new_also"`
	LimitsService     string         `toml:"limits_service"`
	LimitsServiceAlso string         `toml:"limits_service_also"`
	StripOn           string         `toml:"strip_on"`
	JournalDiameter   string         `toml:"journal_diameter"`
	StripLot          string         `toml:"strip_lot"`
	StripFile         string         `toml:"strip_file"`
	Positions         []string       `toml:"positions"`
	Torque            []string       `toml:"torque"`
	Angle             []string       `toml:"angle"`
	BoltNote          string         `toml:"bolt_note"`
	BoreU             string         `toml:"bore_u"`
	WallU             string         `toml:"shell_wall_u"`
	JournalU          string         `toml:"journal_u"`
	Bearing           []bearingEntry `toml:"bearing"`
}

type bearingEntry struct {
	Name     string `toml:"name"`
	Note     string `toml:"note"`
	Bore     string `toml:"bore"`
	BoreU    string `toml:"bore_u"`
	Wall     string `toml:"shell_wall"`
	WallU    string `toml:"shell_wall_u"`
	Journal  string `toml:"journal"`
	JournalU string `toml:"journal_u"`
}

// Parse reads a build.toml; NewFile shows what stands in one. checkName refuses a
// bearing's name that no tag can carry. file names the data in errors, which read
// file:line:column. Refused are unknown or repeated keys, figures without unit,
// limits that are reversed or contradict one another, names that are missing or so
// alike that a photo's name could mean either, and impossible values. What may be
// so but looks like a slip is kept and told in Doubts.
func Parse(data []byte, file string, checkName func(string) error) (*Build, error) {
	var doc buildEntry
	at, err := buildFormat.Decode(data, file, &doc)
	if err != nil {
		return nil, err
	}
	p := parser{at: at, checkName: checkName, named: map[string]string{}, build: &Build{
		Name: doc.Name, Note: doc.Note, Coverage: quantity.DefaultK,
		Strip: Strip{doc.StripLot, doc.StripFile},
	}}
	if err := p.head(doc); err != nil {
		return nil, err
	}
	if len(doc.Group) == 0 {
		return nil, fmt.Errorf("%s: no bearings; begin a group of them with [[group]]", file)
	}
	for i, g := range doc.Group {
		if err := p.group(i, g); err != nil {
			return nil, err
		}
	}
	return p.build, nil
}

// parser turns what is written into a build.
type parser struct {
	build     *Build
	at        strictfile.Places
	checkName func(string) error
	named     map[string]string // bearings so far by Key
}

// wrong tells where the value of a key, or an element of it, is wrong.
func (p *parser) wrong(err error, path ...any) error {
	key := path[len(path)-1]
	if _, element := key.(int); element {
		key = path[len(path)-2]
	}
	return fmt.Errorf("%s: %v: %w", p.at.Of(path...), key, err)
}

// The temperatures in degC at which anybody would assemble an engine.
const coldest, hottest = -20.0, 60.0

func (p *parser) head(doc buildEntry) error {
	b := p.build
	if doc.Temperature != "" {
		t, err := quantity.ParseTemperature(doc.Temperature)
		if err == nil && !(t >= coldest && t <= hottest) {
			err = fmt.Errorf("%q is not a temperature to assemble an engine at", doc.Temperature)
		}
		if err != nil {
			return p.wrong(err, "temperature")
		}
		b.Temperature = &t
		if t < clearance.RoomLo || t > clearance.RoomHi {
			b.doubt("the parts are at %.1f degC; strips are meant for %.0f to %.0f degC, and the difference is counted in the uncertainty", t, clearance.RoomLo, clearance.RoomHi)
		}
	}
	b.TaperLimit = clearance.TaperLimit
	if doc.TaperLimit != "" {
		var err error
		if b.TaperLimit, err = positiveLength(doc.TaperLimit); err != nil {
			return p.wrong(err, "taper_limit")
		}
	}
	for i, line := range doc.Preparation {
		if strings.TrimSpace(line.What) == "" {
			return p.wrong(errors.New("empty"), "preparation", i, "what")
		}
		b.Preparation = append(b.Preparation, Preparation{line.What, line.Done})
	}
	return nil
}

func (b *Build) doubt(format string, args ...any) {
	b.Doubts = append(b.Doubts, fmt.Sprintf(format, args...))
}

func positiveLength(s string) (float64, error) {
	x, err := quantity.ParseLength(s)
	if err == nil && !(x > 0) {
		err = fmt.Errorf("%q is not positive", s)
	}
	return x, err
}

// name takes a bearing's name and refuses one that could be mistaken for another.
func (p *parser) name(name string) error {
	key := Key(name)
	if key == "" {
		return fmt.Errorf("%q has neither letter nor digit", name)
	}
	if other, taken := p.named[key]; taken && other == name {
		return fmt.Errorf("a bearing %s stands above; give each its own name", name)
	} else if taken {
		return fmt.Errorf("%s and %s above are one name in a photo's file name, where only letters and digits count", name, other)
	}
	p.named[key] = name
	return p.checkName(name)
}

// Key is what counts of a name in a photo's file name: its letters and digits,
// small and capital the same.
func Key(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, name)
}
