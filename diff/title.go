package diff

import (
	"fmt"
	"strings"
)

// titles say a finding in a few words; %s is its subject. What is not here is
// said by its kind.
var titles = map[Kind]string{
	MissingDevice:         "%s is missing",
	AddressConflict:       "several devices answer for %s",
	SecondDHCPServer:      "a second DHCP server or address range: %s",
	PowerToPassive:        "power on %s, where a passive device is planned",
	PortPowerOver:         "%s draws more than its limit",
	PortPowerNear:         "%s is near its power limit",
	SupplyPowerOver:       "%s gives more than its budget",
	SupplyPowerNear:       "%s is near its power budget",
	SupplyReserved:        "%s has little left to promise",
	NotPowered:            "%s gives no power",
	FactoryLogin:          "%s still takes its factory login",
	UPSOnBattery:          "%s runs on battery",
	UPSBattery:            "the battery of %s wants care",
	CutOff:                "most of the site cannot be seen from here",
	UnknownDevice:         "unknown device %s",
	ReplacedDevice:        "%s has another MAC address than planned",
	MovedDevice:           "%s hangs on another port",
	WrongNetwork:          "%s is in the wrong network",
	WrongVLAN:             "%s is in the wrong VLAN",
	AddressDiffers:        "%s has another address than planned",
	ProxyARP:              "%s answers ARP for others",
	NoAddress:             "%s has no address in its network",
	PowerDenied:           "power refused on %s",
	PowerFaults:           "power faults on %s",
	ClassDiffers:          "%s shows another power class than planned",
	NotInitialised:        "%s was never set up",
	DefaultCommunity:      "%s answers to a default SNMP community",
	LinkSlow:              "%s is up at a lower speed than meant",
	HalfDuplex:            "%s runs half duplex",
	LinkErrors:            "errors on %s",
	LinkDown:              "%s is down",
	RadioLevelLow:         "%s receives less than it did",
	LinkLoadNear:          "%s is near what it carries",
	RecordingShort:        "%s keeps fewer days than planned",
	NoStream:              "%s is there but sends no stream",
	ClockOff:              "the clock of %s is off",
	InternetDown:          "the internet line is down",
	CouldNotLook:          "%s could not be looked at",
	UnencryptedManagement: "management without encryption: %s",
	WeakSNMP:              "weak SNMP at %s",
	CertificateChanged:    "%s shows another certificate",
	Restarted:             "%s restarted",
	FirmwareChanged:       "%s has other firmware",
	PortsRenumbered:       "%s numbers its ports anew",
	ChangingMACDevices:    "private devices: %s",

	OverBudget:       "%s is planned beyond its budget",
	OverCurrent:      "%s carries too much current",
	VoltageLow:       "too little voltage at %s",
	PassiveHazard:    "the feed does not fit %s",
	AddressOutside:   "the address of %s lies in no planned network",
	DoubleAssignment: "%s is planned twice",
	LinkMarginLow:    "%s has little margin",
	RadiatedPower:    "%s radiates more than the plan's limit",
	LoadOverLink:     "%s is to carry more than it can",
	ChannelOverlap:   "%s overlaps",
	NoRoom:           "%s no longer fits",
}

// Title says what findings of the kind say, with "…" for their subject.
func (k Kind) Title() string { return strings.ReplaceAll(titles[k], "%s", "…") }

// Title says the finding in one line, with how many hang behind it.
func (f Finding) Title() string {
	t, ok := titles[f.Kind]
	place, crowd := strings.CutPrefix(f.Subject, manyAt)
	switch {
	case f.Kind == UnknownDevice && crowd:
		t = "many unknown devices at " + place
	case f.Kind == WrongNetwork && len(f.Behind) > 0:
		t = f.Subject + " is in no network of the plan"
	case !ok:
		t = strings.ReplaceAll(string(f.Kind), "-", " ") + ": " + f.Subject
	case strings.Contains(t, "%s"):
		t = fmt.Sprintf(t, strings.TrimSuffix(f.Subject, onlySupply))
	}
	n := len(f.Behind)
	switch {
	case n == 0:
	case f.Kind == CutOff || f.Kind == SecondDHCPServer || f.Kind == WrongNetwork || f.Kind == ClockOff || f.Kind == OverBudget:
		t += ", " + Plural(n, "device", "devices") + " in all"
	case f.Kind == Restarted || f.Kind == NoRoom:
		t += fmt.Sprintf(", with %d more", n)
	default:
		t += fmt.Sprintf(", with %d behind it", n)
	}
	return t
}
