package inventory_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"

	"boundwalk/inventory"
)

// Same evidence, same snapshot, also where switches contradict each other.
func TestAssembleIsDeterministic(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 7))
		plan := site(switchPlan("a", mac(1), "192.0.2.1", 8), switchPlan("b", mac(2), "192.0.2.2", 8), switchPlan("c", mac(3), "192.0.2.3", 8))
		ev := swept()
		for k, name := range []string{"a", "b", "c"} {
			ag := bridgeAgent(name, mac(byte(k+1)), 8)
			for range 30 {
				ag.FDB = append(ag.FDB, inventory.FDBEntry{MAC: mac(byte(1 + r.IntN(20))), Port: inventory.BridgePort(101 + r.IntN(8))})
			}
			for range 6 {
				ag.Neighbors = append(ag.Neighbors, inventory.LLDPNeighbor{LocalIndex: inventory.IfIndex(1 + r.IntN(8)), ChassisMAC: mac(byte(1 + r.IntN(20)))})
			}
			ag.PVID = map[inventory.BridgePort]int{101: 10, 102: 20}
			ev.Agents = append(ev.Agents, ag)
		}
		var first string
		for range 8 {
			b, err := json.Marshal(inventory.Assemble(plan, ev, nil, nil))
			if err != nil {
				t.Fatal(err)
			}
			if first == "" {
				first = string(b)
			} else if first != string(b) {
				t.Fatalf("seed %d: two snapshots of one evidence differ", seed)
			}
		}
	}
}
