package policy

// Approval gives what the engine believes of an advice it issued; false when it
// does not know the advice, or no longer. A shell that goes on from an older
// snapshot compares it with what is on record.
func (z *Zone) Approval(id string) (ApprovalState, bool) {
	for i := range z.plans {
		if z.plans[i].Advice.ID == id {
			return z.plans[i].State, true
		}
	}
	return "", false
}
