package intake

import (
	"slices"
	"strconv"

	"rhizostat/service/wire"
)

// readBirth takes a birth certificate: what the metrics are, and what they are now.
func (rd *metricsReader) readBirth(f *family) {
	rd.birth = true
	f.born, f.byAlias, f.byName = true, map[uint64]*metric{}, map[string]*metric{}
	var types map[string]wire.SparkplugType
	if len(f.outputs) > 0 {
		types = map[string]wire.SparkplugType{}
	}
	for m := range rd.payload.Metrics {
		if len(m.Name) == 0 {
			rd.drop(NotSparkplug, "", "a birth certificate with a metric that has no name")
			continue
		}
		name := string(m.Name)
		if types != nil {
			types[name] = m.Type
		}
		var one *metric
		if found := (metric{declared: m.Type}); f.mapped.find(name, &found.to) {
			one = &found
			f.byName[name] = one
		} else if found.to.reason != "" {
			rd.drop(found.to.reason, name, "")
		}
		if m.HasAlias {
			rd.alias(f, m.Alias, one)
		}
		if one != nil {
			rd.value(m, one)
		}
	}
	for i, names := range f.outputs {
		b := declared{i, map[string]wire.SparkplugType{}}
		for _, name := range names {
			if t, ok := types[name]; ok {
				b.types[name] = t
			}
		}
		rd.born = append(rd.born, b)
	}
	slices.SortFunc(rd.born, func(a, b declared) int { return a.output - b.output })
}

// twice is what is wrong with an alias of two metrics.
const twice = "it stands for two metrics"

// alias notes what an alias stands for. One that stands for two metrics stands for
// none: which of the two a reading is of would be a guess.
func (rd *metricsReader) alias(f *family, alias uint64, one *metric) {
	if _, ok := f.byAlias[alias]; ok {
		f.byAlias[alias] = &metric{twice: true}
		rd.dropMetric(NotSparkplug, &wire.SparkplugMetric{Alias: alias}, twice)
		return
	}
	if len(f.byAlias) >= maxAliases {
		rd.drop(TooLarge, "aliases", "more than "+strconv.Itoa(maxAliases))
		return
	}
	f.byAlias[alias] = one
}

// readData takes the metrics that have changed. One that tells its own name and type is
// taken whether or not a birth was seen.
func (rd *metricsReader) readData(f *family) {
	if rd.payload.Count == 0 {
		rd.drop(Empty, "", "")
	}
	rd.ask = rd.ask || !f.born
	for m := range rd.payload.Metrics {
		if len(m.Name) > 0 {
			one := f.byName[string(m.Name)]
			if one == nil {
				if one = new(metric); !f.mapped.find(string(m.Name), &one.to) {
					continue // nobody asked for it
				}
			}
			rd.value(m, one)
			continue
		}
		one, ok := f.byAlias[m.Alias]
		switch {
		case !m.HasAlias:
			rd.drop(NotSparkplug, "", "a metric without name and alias")
		case !ok:
			rd.ask = true
			rd.dropMetric(Unborn, m, "")
		case one == nil: // nobody asked for it
		case one.twice:
			rd.dropMetric(NotSparkplug, m, twice)
		default:
			rd.value(m, one)
		}
	}
}
