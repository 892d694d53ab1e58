package link

import "github.com/eclipse/paho.mqtt.golang/packets"

// noStore keeps nothing of what is in flight. What must arrive stands in the
// outbox, which knows the newest value of each topic; a store would send an
// old one after it.
type noStore struct{}

func (noStore) Open()                             {}
func (noStore) Put(string, packets.ControlPacket) {}
func (noStore) Get(string) packets.ControlPacket  { return nil }
func (noStore) All() []string                     { return nil }
func (noStore) Del(string)                        {}
func (noStore) Close()                            {}
func (noStore) Reset()                            {}
