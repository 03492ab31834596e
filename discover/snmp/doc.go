// Package snmp reads devices by SNMP version 1, 2c and 3, and never writes to
// one. It wraps gosnmp, which has the wire format, and adds what that library
// leaves to its caller:
//
//   - every response is checked against its request, every value is matched by
//     OID, and every number is checked for type and range;
//   - walks are bounded in rows, bytes and time, and step down when an agent
//     cannot build a large reply;
//   - the words of USM reports (wrong user, wrong password, clock) are kept;
//   - a call ends soon after its context is cancelled.
//
// Start with [Dial] and [Client.WalkAll]. Nothing here knows what an object
// means: that is the work of the package that asks.
package snmp
