package service

import (
	"hash/maphash"

	"rhizostat/service/wire"
)

// published is what stands on the retained topics of a zone, topics and payloads both by
// their hash: the words themselves would take as much as its desk.
type published []standingOn

type standingOn struct{ topic, payload uint64 }

var seed = maphash.MakeSeed()

func (p published) find(topic string) int {
	hash := maphash.String(seed, topic)
	for i := range p {
		if p[i].topic == hash {
			return i
		}
	}
	return -1
}

// on gives the hash of what stands on a topic, false where nothing is known of it.
func (p published) on(topic string) (payload uint64, known bool) {
	if i := p.find(topic); i >= 0 {
		return p[i].payload, true
	}
	return 0, false
}

// put notes what stands on a topic.
func (p *published) put(topic string, payload uint64) {
	if i := p.find(topic); i >= 0 {
		(*p)[i].payload = payload
		return
	}
	if *p == nil {
		*p = make(published, 0, wire.StandingTopicCount)
	}
	*p = append(*p, standingOn{maphash.String(seed, topic), payload})
}

// drop forgets a topic.
func (p *published) drop(topic string) {
	if i := p.find(topic); i >= 0 {
		*p = append((*p)[:i], (*p)[i+1:]...)
	}
}
