package advice

// refusals are the sentences with which a decision is refused. Answers, metrics
// and logs carry the code of the wire, for whoever counts or branches; one such
// code has a sentence for each situation.
var refusals = [...]struct{ of, code, text string }{
	{"malformed", "malformed-unreadable", "The decision cannot be read: {what:name}."},
	{"malformed", "malformed-signed", "The signature is read, the decision under it cannot be: {what:name}."},
	{"malformed", "malformed-long", "The decision has {bytes:count} bytes, and at most {limit:count} are read: shorten its note."},

	{"unknown-advice", "unknown-advice-other", "Advice {advice:name} is not known for zone {zone:name}; the one that stands there is {standing:name}, valid until {until:date}."},
	{"unknown-advice", "unknown-advice-none", "Advice {advice:name} is not known for zone {zone:name}, and no advice stands there now."},

	{"wrong-digest", "wrong-digest-advice", "The decision names the digest {told:name}, and advice {advice:name} has {has:name}: look at the advice as it is published now, and decide on that."},
	{"wrong-digest", "wrong-digest-standing", "The decision names the digest {told:name}, and the standing approval of advice {advice:name} was given with {has:name}: name that one to end it."},

	{"not-pending", "not-pending-inspect", "Advice {advice:name} asks a person to look: there are no setpoints in it to {decision:name}."},
	{"not-pending", "not-pending-approved", "Advice {advice:name} was approved already, by {who:name} on {at:date}; it is valid until {until:date}."},
	{"not-pending", "not-pending-under", "Advice {advice:name} was approved already on {at:date}, under the standing approval that {who:name} gave with advice {first:name}; it is valid until {until:date}."},
	{"not-pending", "not-pending-rejected", "Advice {advice:name} was rejected by {who:name} on {at:date}: the next advice can be decided on."},
	{"not-pending", "not-pending-withdrawn", "Advice {advice:name} was withdrawn by {who:name} on {at:date}: the next advice can be decided on."},
	{"not-pending", "not-pending-superseded", "Advice {advice:name} was replaced on {at:date}: look at {standing:name}, which stands now."},
	{"not-pending", "not-pending-waits", "Advice {advice:name} waits for a decision until {until:date}, so there is nothing to withdraw: reject it instead."},
	{"not-pending", "not-pending-nothing-left", "Advice {advice:name} is not in force, it was {state:name} on {at:date}: there is nothing left to withdraw."},

	{"expired", "expired-undecided", "Advice {advice:name} could be decided until {until:date}, and it is {now:date} now: the next advice can be decided on."},
	{"expired", "expired-over", "Advice {advice:name} expired on {at:date}: there is nothing left to withdraw."},

	{"not-signed", "not-signed-plain", "Site {site:name} lists who may decide, and this decision is not signed: sign it with the decider's key."},
	{"not-signed", "not-signed-form", "The decision is no compact JWS, it has other characters than base64url and dots: sign it with the decider's key."},
	{"not-signed", "not-signed-jws", "The decision is no compact JWS with EdDSA ({what:name}): sign it with the decider's key."},
	{"not-signed", "not-signed-critical", "The signature's header lists critical extensions, and none is expected: sign it without."},
	{"not-signed", "not-signed-by-other", "The signature is not that of {who:name} over this decision: sign it with the key whose public half the site file of {site:name} has."},

	{"unknown-decider", "unknown-decider-name", "No decider of site {site:name} is called {who:name}; who may {decision:name} for zone {zone:name}: {may:name}."},
	{"unknown-decider", "unknown-decider-none", "The decision is signed, and site {site:name} lists nobody's key to check it with: send it unsigned, or list the decider's public key."},

	{"not-allowed", "not-allowed-zone", "Decider {who:name} decides for {zones:name}, and not for zone {zone:name}; who may {decision:name} there: {may:name}."},
	{"not-allowed", "not-allowed-decision", "Decider {who:name} may {own:name}, and not {decision:name}; who may for zone {zone:name}: {may:name}."},
	{"not-allowed", "not-allowed-covers", "The site file of {site:name} allows no standing approval for zone {zone:name}: approve this advice alone, or set approval.standing.allowed."},
	{"not-allowed", "not-allowed-covers-past", "The standing approval would end on {until:date}, and it is {now:date} already."},
	{"not-allowed", "not-allowed-covers-long", "The standing approval would last until {until:date}; the site file allows {days:number} days, until {latest:date}."},
	{"not-allowed", "not-allowed-set-aside", "Zone {zone:name} is set aside after a fault of the program, so nothing of it can be approved: restart the daemon and tell its developers."},

	{"replayed", "replayed-signed", "This very decision was taken before, and advice {advice:name} is {state:name} since {at:date}: sign a new one if it is to be decided again."},

	{"ledger-unavailable", "ledger-unavailable-decision", "The decision on advice {advice:name} could not be written to the ledger on {at:date}, so nothing has changed: send it again once the ledger can be written."},
}

// notices are the sentences that stand in a zone's state where nothing of it can be
// approved, or something that was advised before can be no more.
var notices = [...]Entry{
	{"zone-set-aside", KindNotice, "The zone is set aside after a fault of the program: nothing of it can be approved until the daemon has been restarted."},
	{"ledger-unavailable", KindNotice, "The ledger cannot be written, so nothing can be approved: {what:name}."},
	{"ledger-damaged", KindNotice, "The ledger is damaged and does not tell any more what was advised with {advice:name}: that is not in force and nobody can approve it. Put the last copy of the ledger in its place, and look at the disk."},
}

// Refuse gives a refusal: the sentence of a code, filled as by Say, under the code
// of the wire.
func Refuse(code string, values ...Value) Reason {
	r := Say(code, values...)
	for i := range refusals {
		if refusals[i].code == code {
			r.Code = refusals[i].of
			return r
		}
	}
	panic("advice: " + code + " is not the code of a refusal")
}

// RefusalCodes lists the sentences with which a decision may be refused under a code
// of the wire.
func RefusalCodes(of string) (codes []string) {
	for i := range refusals {
		if refusals[i].of == of {
			codes = append(codes, refusals[i].code)
		}
	}
	return codes
}
