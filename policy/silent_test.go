package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
)

// Probes that fall silent are asked about within two hours; where people have just said that
// they transplant, or disturb the roots otherwise, probes are in their hands: they are asked
// about only if they have not come back by the afternoon.
func TestProbesInPeoplesHandsAreNotAskedAbout(t *testing.T) {
	for kind, c := range map[string]struct{ from, to time.Duration }{
		"":             {30 * time.Minute, 2 * time.Hour},
		WateredByHand:  {30 * time.Minute, 2 * time.Hour},
		Transplanted:   {rootsGrace, rootsGrace + time.Hour},
		RootsDisturbed: {rootsGrace, rootsGrace + time.Hour},
	} {
		z, at := lived(t, 3)
		began := at
		if kind != "" {
			z.Step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: kind}})
		}
		asked := time.Duration(-1)
		for asked < 0 && at.Sub(began) < 12*time.Hour {
			at = at.Add(5 * time.Minute)
			if a := z.Step(Event{Kind: Wake, At: at}).Advice; a != nil && a.Action == advice.Inspect {
				asked = at.Sub(began)
			}
		}
		if asked < c.from || asked > c.to {
			t.Errorf("%q: asked about after %v; expected %v to %v", kind, asked, c.from, c.to)
		}
	}
}
