package policy

import (
	"fmt"
	"reflect"
	"slices"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// snapshotVersion is of the layout below. One that differs is refused: the zone
// then learns anew, which costs days and harms nothing.
const snapshotVersion = 29

// usualProbe is what is kept of a probe, in all its places, bytes.
const usualProbe = 512

// snapshotHead says what the plain part is followed by.
type snapshotHead struct {
	Version uint16
	Probes  uint16
	Rest    uint32 // bytes of JSON
}

// restOptions let nil come back as nil, and whatever a text holds be written. What is
// zero is not written: names of nothing take more than the numbers of a plan.
var restOptions = json.JoinOptions(json.OmitZeroStructFields(true), json.FormatNilSliceAsNull(true), jsontext.AllowInvalidUTF8(true))

// snapshotRest is what has no fixed size.
type snapshotRest struct {
	Probes    []string  // ids, in the order of their memories
	Heights   []float64 // as the site had them then, cm
	Plans     []planned
	Container hydraulics.Container // zero: the site's
	Substrate string               // name; "" for the zone's own
}

// Snapshot gives all that the zone knows, for Restore. It is exact: floats are
// written bit by bit. Most of it is rings that are still empty: whoever keeps it
// compresses it.
func (z *Zone) Snapshot() []byte { return z.AppendSnapshot(nil) }

// AppendSnapshot appends what Snapshot gives.
func (z *Zone) AppendSnapshot(b []byte) []byte {
	rest := snapshotRest{Plans: z.plans}
	for i := range z.settings.Probes {
		rest.Probes = append(rest.Probes, z.settings.Probes[i].ID)
		rest.Heights = append(rest.Heights, z.settings.Probes[i].HeightCM)
	}
	if *z.ground.container != z.settings.Container {
		rest.Container = *z.ground.container
	}
	if z.ground.substrate.Name != z.settings.Substrate.Name {
		rest.Substrate = z.ground.substrate.Name
	}
	tail, err := json.Marshal(rest, restOptions)
	if err != nil {
		panic(fmt.Sprintf("zone %s: snapshot: %v", z.settings.Zone, err))
	}
	head := snapshotHead{snapshotVersion, uint16(len(z.probes)), uint32(len(tail))}
	b = slices.Grow(b, int(reflect.TypeFor[memory]().Size())+len(z.probes)*usualProbe+len(tail))
	b = appendPlain(b, reflect.ValueOf(&head).Elem())
	b = appendPlain(b, reflect.ValueOf(&z.m).Elem())
	for i := range z.probes {
		b = appendPlain(b, reflect.ValueOf(&z.probes[i]).Elem())
	}
	return append(b, tail...)
}

// Restore makes the engine that Snapshot was taken of. The error says why the
// snapshot cannot be used with these settings.
func Restore(s Settings, snapshot []byte) (*Zone, error) {
	z, err := New(s)
	if err != nil {
		return nil, err
	}
	if err := z.Restore(snapshot, Shared{}); err != nil {
		return nil, err
	}
	return z, nil
}

// Restore makes a zone that was never stepped the one that the snapshot was taken of. The
// error says why the snapshot cannot be used with its settings; the zone is then of no
// use any more.
func (z *Zone) Restore(snapshot []byte, with Shared) error {
	where := fmt.Sprintf("zone %s: snapshot of %d bytes", z.settings.Zone, len(snapshot))
	var head snapshotHead
	left, err := readPlain(snapshot, reflect.ValueOf(&head).Elem())
	if err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	if head.Version != snapshotVersion {
		return fmt.Errorf("%s: layout %d; this version reads %d", where, head.Version, snapshotVersion)
	}
	if head.Probes > MaxProbes {
		return fmt.Errorf("%s: it says %d probes; at most %d are read", where, head.Probes, MaxProbes)
	}
	probes := make([]probeMemory, head.Probes)
	left, err = readPlain(left, reflect.ValueOf(&z.m).Elem())
	for i := 0; i < len(probes) && err == nil; i++ {
		left, err = readPlain(left, reflect.ValueOf(&probes[i]).Elem())
	}
	if err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	if int64(head.Rest) != int64(len(left)) {
		return fmt.Errorf("%s: %d bytes follow the plain part; it says %d", where, len(left), head.Rest)
	}
	var rest snapshotRest
	if err := json.Unmarshal(left, &rest, restOptions); err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	if err := z.takeBack(&rest, probes, with.shelf()); err != nil {
		return fmt.Errorf("%s: %w", where, err)
	}
	return nil
}

// takeBack puts the parts of a snapshot in their places. Probes are found by
// id: one that is new starts anew, one that is gone is forgotten.
func (z *Zone) takeBack(rest *snapshotRest, probes []probeMemory, shelf *hydraulics.Shelf) error {
	if len(rest.Probes) != len(probes) || len(rest.Heights) != len(probes) {
		return fmt.Errorf("%d names and %d heights for %d probes", len(rest.Probes), len(rest.Heights), len(probes))
	}
	if err := z.m.check(); err != nil {
		return err
	}
	same := len(rest.Probes) == len(z.settings.Probes)
	moved := false                              // a probe stands elsewhere than the site file says
	from := make([]int, len(z.settings.Probes)) // the place that each had, -1: none
	for i := range z.settings.Probes {
		from[i] = slices.Index(rest.Probes, z.settings.Probes[i].ID)
		k := from[i]
		same = same && k == i
		if k < 0 {
			continue
		}
		z.probes[i] = probes[k]
		if told := z.settings.Probes[i].HeightCM; told != rest.Heights[k] {
			z.probes[i].HeightCM = told // the site file was changed after a person had moved it
			same = false
		}
		moved = moved || z.probes[i].HeightCM != z.settings.Probes[i].HeightCM
	}
	if !same { // what the probes agreed on were other probes, or the same ones elsewhere
		z.m.Panel = sensing.Panel{Rejoined: true}
		z.m.Diagnosis.OtherProbes(from)
	}
	container, substrate := z.settings.Container, z.settings.Substrate
	if rest.Container != (hydraulics.Container{}) {
		container = rest.Container
	}
	if s, ok := z.settings.Substrates[rest.Substrate]; ok {
		substrate = s
	} else if s, ok := hydraulics.BuiltIn(rest.Substrate); ok {
		substrate = s
	}
	if moved || container != z.settings.Container || substrate != z.settings.Substrate { // else it stands as it was made
		if err := z.stand(container, substrate, shelf); err != nil {
			return err
		}
	}
	for i := range rest.Plans {
		if rest.Plans[i].Advice.ID == "" {
			return fmt.Errorf("plan %d is empty", i)
		}
	}
	z.plans = rest.Plans
	if z.m.NowMs != 0 {
		for i := range z.settings.Stages { // a band that the container could not hold left the one before
			if from := z.settings.Stages[i].From; from.UnixMilli() < z.m.NowMs {
				z.setStage(z.settings.DayAt(from.Add(12 * time.Hour)).Start) // as stageOf has it
			}
		}
		z.followDay(z.m.NowMs) // whoever is to be told was told
	}
	return nil
}

// maxTimeMs is the year 2200: a snapshot beyond it is damaged.
var maxTimeMs = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

// check refuses a memory that no zone can have: the ledger is damaged.
func (m *memory) check() error {
	if m.NowMs < 0 || m.NowMs > maxTimeMs {
		return fmt.Errorf("engine time %d ms is impossible", m.NowMs)
	}
	if c := &m.Panel.Consensus; int(c.Count) > len(c.Probes) || c.Members>>len(c.Probes) != 0 {
		return fmt.Errorf("%d probes agree (%b) where %d are known", c.Count, c.Members, len(c.Probes))
	}
	return nil
}
