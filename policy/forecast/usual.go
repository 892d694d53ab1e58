package forecast

import (
	"math"

	"rhizostat/policy/learning"
)

// usualBins is the number of parts of the day by which the pull of the anchor
// is learned.
const usualBins = 8

// UsualCourse learns, by time of day and horizon, how much of what a zone is
// off its usual course now is still there later: nearly all of it through a
// night, little once watering has filled the container again.
type UsualCourse struct {
	XX, XY [usualBins][HorizonCount]float32
	// BalanceXX and BalanceXY learn how much of the way to the balance run under
	// yesterday's water is right, by horizon.
	BalanceXX, BalanceXY [HorizonCount]float32
}

// balancePrior is that share before any evidence. A day ahead nothing is known of
// whether yesterday's water will be given again.
var balancePrior = [HorizonCount]float64{0.2, 0.2, 0.3, 0.4, 0}

// lean is the learned share of the balance at a horizon.
func (u *UsualCourse) lean(h int) float64 {
	p := (float64(u.BalanceXY[h]) + priorWeight*balancePrior[h]) / (float64(u.BalanceXX[h]) + priorWeight)
	return math.Min(math.Max(p, 0), 1)
}

// learnLean takes what came, less the usual course, where the balance was off by
// so much the other way.
func (u *UsualCourse) learnLean(h int, came, off float64) {
	lim := math.Abs(off) + 0.01
	came = math.Min(math.Max(came, -lim), lim)
	u.BalanceXX[h] = float32(leanMemory*float64(u.BalanceXX[h]) + off*off)
	u.BalanceXY[h] = float32(leanMemory*float64(u.BalanceXY[h]) + off*came)
}

// leanMemory forgets half in ten days of half hours.
const leanMemory = 0.99856 // 2^(-1/(48*10))

// Prior of that pull and of the weight of older days against yesterday, by
// horizon. Tuned on the first half of zones a and c of the measured slabs.
var (
	pullPrior  = [HorizonCount]float64{1, 0.95, 0.85, 0.6, 0}
	olderShare = [HorizonCount]float64{0.3, 0.3, 0.3, 0.25, 0}
)

// leastPull and mostPull bound the pull. Where the days of a zone do not hang
// together at all, half of a change since yesterday goes back. Above 1 an anchor
// grows, as a zone that falls behind goes on to do.
const leastPull, mostPull = -0.5, 1.2

// priorWeight is how much evidence the prior counts as: (0.02 m3/m3)^2 some
// 25 times.
const priorWeight = 0.01

// memory is the share of evidence kept from one score to the next of its bin:
// half is forgotten in two weeks.
const memory = 0.9917 // 2^(-1/(6*14))

func usualBin(atMs int64) int {
	const day = 24 * 3600 * 1000
	return int(((atMs%day)+day)%day) * usualBins / day
}

// pull is the learned share of the anchor at a horizon. A day ahead the anchor is
// the change since yesterday: some zones go on by part of it, others come back.
func (u *UsualCourse) pull(atMs int64, h int) float64 {
	b := usualBin(atMs)
	p := (float64(u.XY[b][h]) + priorWeight*pullPrior[h]) / (float64(u.XX[b][h]) + priorWeight)
	return math.Min(math.Max(p, leastPull), mostPull)
}

// learn takes by how much the usual course that was issued with an anchor was
// off; the pull has hardly changed since.
func (u *UsualCourse) learn(h int, issued int64, off, anchor float64) {
	b := usualBin(issued)
	came := off + u.pull(issued, h)*anchor
	// A surprise far beyond the anchor says nothing of its pull (Huber).
	lim := math.Abs(anchor) + 0.01
	came = math.Min(math.Max(came, -lim), lim)
	u.XX[b][h] = float32(memory*float64(u.XX[b][h]) + anchor*anchor)
	u.XY[b][h] = float32(memory*float64(u.XY[b][h]) + anchor*came)
}

// anchor is by how much the zone is off its usual course now, for a horizon
// ahead ms away.
func (u *UsualCourse) anchor(z *learning.Zone, atMs, ahead int64, level float64) float64 {
	var now past
	now.read(&z.History, atMs, level)
	return level - now.mix(olderAt(float64(ahead)/3.6e6))
}

func olderAt(hours float64) float64 {
	var by [HorizonCount]float32
	for h := range by {
		by[h] = float32(olderShare[h])
	}
	return between(&by, hours)
}

// past is what the last days had at a time of day: yesterday, and the mean of
// the days before it.
type past struct {
	yesterday, older float64
	known, olderToo  bool
}

func (p *past) read(h *learning.History, at int64, fallback float64) {
	const day = int64(24 * 3600 * 1000)
	sum, n := 0.0, 0.0
	for d := int64(1); d <= 3; d++ {
		v, ok := h.FineAt(at - d*day)
		if !ok {
			v, ok = h.LevelAt(at - d*day)
		}
		if !ok {
			continue
		}
		if !p.known {
			p.yesterday, p.known = v, true
			continue
		}
		sum += v
		n++
	}
	if !p.known {
		p.yesterday = fallback
	}
	if n > 0 {
		p.older, p.olderToo = sum/n, true
	}
}

// mix weighs the days.
func (p *past) mix(share float64) float64 {
	if !p.olderToo {
		return p.yesterday
	}
	return p.yesterday + share*(p.older-p.yesterday)
}

// values fills out with the usual course from atMs on: the course of the last
// days, moved to today's level, which it keeps as long as it was seen to.
func (u *UsualCourse) values(z *learning.Zone, atMs int64, level float64, out []float64) {

	var pull [HorizonCount]float32
	for h := range pull {
		pull[h] = float32(u.pull(atMs, h))
	}
	var now past
	now.read(&z.History, atMs, level)
	ms := Step.Milliseconds()
	for k := range out {
		hours := float64(k) * Step.Hours()
		share := olderAt(hours)
		var then past
		then.read(&z.History, atMs+int64(k)*ms, level)
		p := between(&pull, hours)
		if hours < 1 {
			p = 1 + hours*(p-1)
		}
		v := then.mix(share) + p*(level-now.mix(share))
		out[k] = math.Min(math.Max(v, 0), 1)
	}
}

// lean moves the usual course in out towards the balance under yesterday's
// water.
func (u *UsualCourse) leanOn(balance, out []float64) {
	var lean [HorizonCount]float32
	for h := range lean {
		lean[h] = float32(u.lean(h))
	}
	for k := range out {
		hours := float64(k) * Step.Hours()
		p := between(&lean, hours)
		if hours < 1 {
			p *= hours
		}
		out[k] = math.Max(out[k]+p*(balance[k]-out[k]), 0)
	}
}

// yesterday appends the water given over the 24 h before atMs as shots of the
// 24 h after it, by quarter hours.
func yesterday(z *learning.Zone, c *learning.Constants, atMs int64, shots []Shot) []Shot {
	const day = int64(24 * 3600 * 1000)
	ms := Step.Milliseconds()
	for at := int64(0); at < day; at += learning.HistoryBin {
		from := atMs - day + at
		if ml := z.GivenBetween(c, from, from+learning.HistoryBin); ml > 0 {
			shots = append(shots, Shot{Step: int(at / ms), VolumeML: ml})
		}
	}
	return shots
}
