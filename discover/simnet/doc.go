// Package simnet stands in for a site: agents on loopback that answer real SNMP
// version 1, 2c and 3 from rows that can change while they serve. The demo, the
// tests and the benchmarks read them as they would read devices.
//
// Start with [NewAgent] and [Agent.Serve]; [LoadRecording] gives an agent the
// rows of a recorded device. [Faults] make an agent lie, stall or loop in the
// ways that real ones do, and [Relay] puts a slow link in between. An agent
// refuses every SET and counts it, so that a test can prove that none was sent.
//
// The wire format is gosnmp's. What a request means is written here, after RFC
// 3416 (versions 2c and 3), RFC 1157 (version 1) and RFC 3414 (the user-based
// security model); there are no traps and no views by user.
// Request IDs are taken as 0 to 2147483647: the codec cannot send a negative one
// back, so a request that has one is not answered.
package simnet
