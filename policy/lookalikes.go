package policy

import "rhizostat/policy/advice"

// diagnoseNow lets the diagnosis see the zone as it is.
func (z *Zone) diagnoseNow(int64) {}

// diagnosisReasons are what the diagnosis has to say with an advice.
func (z *Zone) diagnosisReasons(at int64) []advice.Reason {
	var out []advice.Reason
	for _, f := range z.m.Diagnosis.Findings(at) {
		out = append(out, f.Evidence...)
	}
	return out
}
