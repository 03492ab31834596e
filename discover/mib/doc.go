// Package mib turns what an SNMP agent told into evidence: one file for each MIB
// module or table. It asks through package snmp and never writes.
//
// Start with Collect for a full run and Pulse for a light pass between runs;
// Relearn reads the forwarding and neighbour tables once more. What decodes sees
// rows only: rows may be in any shape, since agents are wrong in every way, and a
// value that does not fit is left out rather than guessed. Text is cleaned here.
// The object identifiers carry the names that their modules give them.
package mib
