package desk

import (
	"fmt"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// TestRefusalsOnRecord: refused decisions are all answered, and only so many of a
// day are kept; what counts is kept whatever came before it.
func TestRefusalsOnRecord(t *testing.T) {
	for _, c := range []struct {
		name string
		send func(x *table, i int) []byte
		want wire.Refusal
	}{
		{"unknown advice", func(_ *table, i int) []byte {
			return fmt.Appendf(nil, `{"advice":"X%d","digest":"sha-256:%064d","decision":"approve","by":"m"}`, i, i)
		}, wire.UnknownAdvice},
		{"wrong digest", func(_ *table, i int) []byte {
			return fmt.Appendf(nil, `{"advice":"ADVICE0001","digest":"sha-256:%064d","decision":"approve","by":"m"}`, i)
		}, wire.WrongDigest},
		{"nothing to withdraw", func(x *table, _ int) []byte { return x.payload(plan(1, morning), wire.Withdraw, "") }, wire.NotPending},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := newTable(t)
			a := plan(1, morning)
			x.propose(a, morning.Add(-time.Hour))
			kept := 0
			flood := func(at time.Time) {
				for i := range 10 * keptRefusals {
					o := x.Decide(c.send(x, i), at)
					if o.Result.Result != wire.Refused || o.Result.Reason.Code != string(c.want) {
						t.Fatalf("number %d is answered %+v", i, o.Result)
					}
					kept += len(o.Changes.Decisions)
				}
			}
			flood(morning.Add(-50 * time.Minute))
			if kept != keptRefusals {
				t.Errorf("%d on record, want %d", kept, keptRefusals)
			}
			if o := x.decide(a, wire.Approve, "", morning.Add(-time.Minute), ""); len(o.Changes.Decisions) != 1 {
				t.Errorf("the approval after them is on record %d times", len(o.Changes.Decisions))
			}
		})
	}
}

// TestRefusalsOfTheNextDay: the next day keeps its own.
func TestRefusalsOfTheNextDay(t *testing.T) {
	x := newTable(t)
	kept := 0
	for hour := range 48 {
		for i := range keptRefusals {
			o := x.Decide(fmt.Appendf(nil, `{"advice":"X%d","digest":"sha-256:%064d","decision":"reject","by":"m"}`, i, i), morning.Add(time.Duration(hour-4)*time.Hour))
			kept += len(o.Changes.Decisions)
		}
	}
	if kept != 2*keptRefusals {
		t.Errorf("%d on record of two days, want %d", kept, 2*keptRefusals)
	}
}
