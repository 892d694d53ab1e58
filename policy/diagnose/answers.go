package diagnose

import (
	"slices"
	"strings"
)

// word is what a note says of a cause.
type word uint8

const (
	silent word = iota
	affirmed
	denied
)

// people are the words in which people speak of a cause, besides its name on the wire:
// of a thing that may be well or not, and of the trouble itself.
var people = [causeCount]struct{ things, troubles []string }{
	RootBound:          {nil, []string{"rootbound", "pot bound", "potbound", "roots circle", "roots circling", "circling roots"}},
	Compaction:         {nil, []string{"compacted"}},
	Oversaturation:     {nil, []string{"waterlogged", "water logged", "drain hole blocked", "drain hole clogged", "drain holes blocked", "drain holes clogged"}},
	EdgeChannelling:    {nil, []string{"channelling", "channeling", "along the wall"}},
	EmitterFault:       {[]string{"emitter", "emitters", "dripper", "drippers"}, nil},
	ValveStuckOpen:     {nil, []string{"valve stuck open", "valve was open", "valve open", "valve leaks", "valve leaking"}},
	ValveStuckClosed:   {nil, []string{"valve stuck closed", "valve was closed", "valve closed", "valve did not open", "valve shut", "valve was shut"}},
	SensorFault:        {[]string{"probe", "probes", "sensor", "sensors"}, nil},
	RootZoneHeat:       {nil, []string{"roots too hot", "pot too hot", "container too hot"}},
	SaltBuildUp:        {nil, []string{"salt builds up", "salty"}},
	UnreportedWatering: {nil, []string{"watered by hand"}},
}

// Words by which a clause is for or against what it speaks of. A fault that was mended
// was there and is gone, which is all that matters from now on.
var (
	negations = []string{"no", "not", "none", "never", "without", "nothing", "isn't", "wasn't", "aren't", "weren't", "ruled", "excluded", "unlikely"}
	wells     = []string{"fine", "ok", "okay", "well", "good", "works", "working", "clean", "right", "dry", "as it should", "as they should"}
	ills      = []string{"blocked", "clogged", "fault", "faulty", "broken", "dead", "defective", "stuck", "leaking", "loose", "fell", "out", "wrong", "ill"}
	unmended  = []string{"not", "no", "never", "cannot", "can't", "couldn't", "yet", "to be", "will", "tomorrow", "needs", "need", "must", "still", "should", "isn't", "wasn't", "before", "until", "timer"}
	mended    = []string{"mended", "repaired", "fixed", "replaced", "cleared", "cleaned", "unblocked", "reset", "solved"}
)

// answer reads what a note says of a cause: for it, against it, or nothing. A question is
// no answer unless one follows it.
func answer(c Cause, note string) word {
	said := silent
	all := clauses(note)
	for i, k := range all {
		sure, thing := k.speaksOf(c)
		if !sure && !thing {
			continue
		}
		k = k.without(c) // "did not open" is the trouble, and no word against it
		w := silent
		switch {
		case k.asks:
			if i+1 < len(all) && len(all[i+1].words) > 0 {
				switch all[i+1].words[0] {
				case "no", "not":
					w = denied
				case "yes":
					w = affirmed
				}
			}
		case isMended(all[i:]):
			w = denied
		case k.has(mended): // it is not yet, or will be
			w = affirmed
		case k.has(negations):
			w = denied
		case thing && !sure && !k.has(ills):
			if anyOf(wells, all[i:]...) {
				w = denied
			}
		default:
			w = affirmed
		}
		if w != silent {
			said = w
		}
	}
	return said
}

// isMended tells a clause that says of what it names that it is mended, or that the next one
// does; what is still to be mended is there.
func isMended(from []clause) bool {
	for _, k := range from[:min(len(from), 2)] {
		if k.has(mended) {
			return !k.has(unmended)
		}
	}
	return false
}

// clause is a part of a note between stops, in words of small letters.
type clause struct {
	words []string
	asks  bool
}

func clauses(note string) []clause {
	var out []clause
	text := strings.ToLower(strings.ReplaceAll(note, "-", " "))
	for text != "" {
		end := strings.IndexAny(text, ".,;:!?\n")
		rest := ""
		k := clause{}
		part := text
		if end >= 0 {
			part, rest, k.asks = text[:end], text[end+1:], text[end] == '?'
		}
		if k.words = strings.Fields(part); len(k.words) > 0 {
			out = append(out, k)
		}
		text = rest
	}
	return out
}

// speaksOf tells a clause that names a cause, or a thing that it is a fault of.
func (k *clause) speaksOf(c Cause) (sure, thing bool) {
	name := strings.ReplaceAll(c.String(), "-", " ")
	sure = k.holds(name) || slices.ContainsFunc(people[c].troubles, k.holds)
	return sure, slices.ContainsFunc(people[c].things, k.holds)
}

// without is the clause less the words of a trouble that have a "not" of their own.
func (k *clause) without(c Cause) clause {
	for _, phrase := range people[c].troubles {
		if want := strings.Fields(phrase); k.holds(phrase) && slices.Contains(want, "not") {
			at := 0
			for !slices.Equal(k.words[at:at+len(want)], want) {
				at++
			}
			return clause{words: slices.Concat(k.words[:at], k.words[at+len(want):]), asks: k.asks}
		}
	}
	return *k
}

// holds tells a clause with these words in a row.
func (k *clause) holds(phrase string) bool {
	want := strings.Fields(phrase)
	for i := 0; i+len(want) <= len(k.words); i++ {
		if slices.Equal(k.words[i:i+len(want)], want) {
			return true
		}
	}
	return false
}

func (k *clause) has(list []string) bool { return slices.ContainsFunc(list, k.holds) }

func anyOf(list []string, of ...clause) bool {
	return slices.ContainsFunc(of, func(k clause) bool { return k.has(list) })
}
