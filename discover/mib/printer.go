package mib

import "boundwalk/discover/snmp"

// Printer-MIB (RFC 3805): any of its general rows shows that there is a printer.
var (
	prtGeneralConfigChanges = snmp.MustOID("1.3.6.1.2.1.43.5.1.1.1")
	prtGeneralPrinterName   = snmp.MustOID("1.3.6.1.2.1.43.5.1.1.16")
)

func decodePrinter(r rows) bool {
	return len(r.below(prtGeneralConfigChanges)) > 0 || len(r.below(prtGeneralPrinterName)) > 0
}
