package learning

// Missed takes volumeML that came some time from fromMs to atMs, as a meter tells that
// had been silent: it counts where it can have come, and is no watering to learn from.
// What was seen or reported meanwhile was part of it.
func (z *Zone) Missed(c *Constants, fromMs, atMs int64, volumeML float64) {
	z.Advance(c, atMs)
	z.Shots.ReportedAt = max(z.Shots.ReportedAt, atMs)
	atMs = z.AtMs
	volumeML -= z.GivenBetween(c, fromMs, atMs+HistoryBin)
	if volumeML <= 0 || atMs <= fromMs {
		return
	}
	perMs := volumeML / float64(atMs-fromMs)
	for at := max(fromMs, atMs-dayMs); at < atMs; {
		to := min(at-mod(at, HistoryBin)+HistoryBin, atMs)
		z.History.water(at, perMs*float64(to-at))
		at = to
	}
	z.Account.missed(fromMs, atMs, perMs)
}

// missed books what came evenly from one time to another, mL/ms.
func (a *Account) missed(from, to int64, perMs float64) {
	a.roll(to)
	for back := range int64(accountHours) {
		begins := max(a.HourMs-back*hourMs, from)
		if ends := min(a.HourMs-(back-1)*hourMs, to); ends > begins {
			a.Irrigation[mod(int64(a.Head)-back, accountHours)] += float32(perMs * float64(ends-begins))
		}
	}
	ml := perMs * float64(to-from)
	a.Totals.IrrigationML += ml
	a.MissedML += ml
}

// TellsVolumes takes that the zone's volumes are reported at atMs, though there may be
// nothing new: what the valve says is then no water of its own.
func (z *Zone) TellsVolumes(c *Constants, atMs int64) {
	z.Advance(c, atMs)
	z.Shots.VolumeMs = z.AtMs
}
