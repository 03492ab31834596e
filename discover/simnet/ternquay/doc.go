// Package ternquay is the example site, the invented Tern Quay boatyard: some
// dozen SNMP agents on loopback that tell of one world, and the plan that it was
// built by. The demo and its tests look at it as they would at a real site.
//
// What there is stands in boxes.go, one line for each thing and where its cable
// goes. All that the agents tell is worked out from that: forwarding tables,
// neighbours, VLANs, power, traffic. Start serves the site as planned; Lose and
// Drift then make it differ, by the list in drift.go.
//
// All addresses are those for documentation (RFC 5737, RFC 7042); nothing is sent
// there, since every agent answers on 127.0.0.1.
package ternquay
