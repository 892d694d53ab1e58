package intake

import (
	"slices"
	"strings"
)

// Filters are the MQTT topic filters of all telemetry, sorted. No topic matches
// two of them, for some brokers deliver a message once for each filter that it
// matches.
func (r *Router) Filters() []string { return slices.Clone(r.filters) }

// ControlFilters are the filters of what people send: decisions and events, two
// for each site.
func (r *Router) ControlFilters() []string { return slices.Clone(r.control) }

// subscriptions works the filters out.
func (r *Router) subscriptions(mappings []Mapping) {
	var filters []string
	for site := range r.sites {
		filters = append(filters, r.root+"/"+site+"/+/telemetry/+")
		r.control = append(r.control, r.root+"/"+site+"/+/decision", r.root+"/"+site+"/+/event")
	}
	for i := range mappings {
		if mappings[i].Sparkplug == nil {
			filters = append(filters, asFilter(mappings[i].Topic))
		}
	}
	for id := range r.edges {
		filters = append(filters, id.filters()...)
	}
	slices.Sort(r.control)
	r.filters = disjoint(filters)
}

// asFilter replaces the named levels of a pattern by single-level wildcards.
func asFilter(pattern string) string {
	levels := strings.Split(pattern, "/")
	for i, l := range levels {
		if l == zoneLevel || l == probeLevel {
			levels[i] = "+"
		}
	}
	return strings.Join(levels, "/")
}

// disjoint gives filters that together match all that the given ones match, and
// of which no two match the same topic: those that overlap are joined into one,
// with a wildcard where they differ. The joined filter may match more; what nobody
// asked for is then refused as an unknown topic. Filters have no # here.
func disjoint(filters []string) []string {
	slices.Sort(filters)
	filters = slices.Compact(filters)
	for {
		joined := joinOnce(filters)
		slices.Sort(joined)
		joined = slices.Compact(joined)
		if len(joined) == len(filters) {
			return joined
		}
		filters = joined
	}
}

// joinOnce joins filters that overlap, each at most with one other. Two filters
// with wildcards at the same levels overlap only when they are equal, so only
// those of different shapes are looked at, by the levels that are literal in both:
// sites by the thousand are not compared with one another.
func joinOnce(filters []string) []string {
	byShape := map[string][]int{}
	var shapes []string
	for i, f := range filters {
		shape := shapeOf(f)
		if byShape[shape] == nil {
			shapes = append(shapes, shape)
		}
		byShape[shape] = append(byShape[shape], i)
	}
	gone := make([]bool, len(filters))
	for x, a := range shapes {
		for _, b := range shapes[x+1:] {
			if len(a) != len(b) {
				continue
			}
			seen := map[string]int{}
			for _, i := range byShape[a] {
				if !gone[i] {
					seen[project(filters[i], a, b)] = i
				}
			}
			for _, k := range byShape[b] {
				i, ok := seen[project(filters[k], a, b)]
				if !ok || gone[i] || gone[k] || !overlap(filters[i], filters[k]) {
					continue
				}
				filters[i] = join(filters[i], filters[k])
				gone[k] = true
			}
		}
	}
	var left []string
	for i, f := range filters {
		if !gone[i] {
			left = append(left, f)
		}
	}
	return left
}

// shapeOf has a letter for each level: + for a wildcard, l for a literal.
func shapeOf(filter string) string {
	var b strings.Builder
	for level := range strings.SplitSeq(filter, "/") {
		if level == "+" {
			b.WriteByte('+')
		} else {
			b.WriteByte('l')
		}
	}
	return b.String()
}

// project keeps the levels of a filter that are literal in both shapes.
func project(filter, a, b string) string {
	levels := strings.Split(filter, "/")
	for i := range levels {
		if a[i] == '+' || b[i] == '+' {
			levels[i] = "+"
		}
	}
	return strings.Join(levels, "/")
}

// overlap reports whether a topic can match both filters (MQTT 3.1.1, section
// 4.7): level by level equal or a wildcard, and a first wildcard never matches a
// name that begins with $.
func overlap(a, b string) bool {
	for first := true; ; first = false {
		la, ra, moreA := strings.Cut(a, "/")
		lb, rb, moreB := strings.Cut(b, "/")
		if moreA != moreB || la != lb && la != "+" && lb != "+" {
			return false
		}
		if first && la != lb && (strings.HasPrefix(la, "$") || strings.HasPrefix(lb, "$")) {
			return false
		}
		if !moreA {
			return true
		}
		a, b = ra, rb
	}
}

// join is the narrowest filter that matches all that two overlapping ones do.
func join(a, b string) string {
	la, lb := strings.Split(a, "/"), strings.Split(b, "/")
	for i := range la {
		if la[i] != lb[i] {
			la[i] = "+"
		}
	}
	return strings.Join(la, "/")
}
