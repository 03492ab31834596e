package diff

import (
	"cmp"
	"maps"
	"slices"
)

// Kind is what a finding is about, as the contract spells it.
type Kind string

// Kinds that are urgent by default.
const (
	MissingDevice    Kind = "missing-device"
	AddressConflict  Kind = "address-conflict"
	SecondDHCPServer Kind = "second-dhcp-server"
	PowerToPassive   Kind = "power-to-passive"
	PortPowerOver    Kind = "port-power-over"
	SupplyPowerOver  Kind = "supply-power-over"
	NotPowered       Kind = "not-powered"
	FactoryLogin     Kind = "factory-login"
	UPSOnBattery     Kind = "ups-on-battery"
	CutOff           Kind = "cut-off"
)

// Kinds that are warnings by default.
const (
	UnknownDevice    Kind = "unknown-device"
	ReplacedDevice   Kind = "replaced-device"
	MovedDevice      Kind = "moved-device"
	WrongNetwork     Kind = "wrong-network"
	WrongVLAN        Kind = "wrong-vlan"
	AddressDiffers   Kind = "address-differs"
	ProxyARP         Kind = "proxy-arp"
	NoAddress        Kind = "no-address"
	PortPowerNear    Kind = "port-power-near"
	SupplyPowerNear  Kind = "supply-power-near"
	PowerDenied      Kind = "power-denied"
	PowerFaults      Kind = "power-faults"
	NotInitialised   Kind = "not-initialised"
	DefaultCommunity Kind = "default-community"
	LinkSlow         Kind = "link-slow"
	HalfDuplex       Kind = "half-duplex"
	LinkErrors       Kind = "link-errors"
	LinkDown         Kind = "link-down"
	RadioLevelLow    Kind = "radio-level-low"
	LinkLoadNear     Kind = "link-load-near"
	RecordingShort   Kind = "recording-short"
	NoStream         Kind = "no-stream"
	ClockOff         Kind = "clock-off"
	UPSBattery       Kind = "ups-battery"
	InternetDown     Kind = "internet-down"
	CouldNotLook     Kind = "could-not-look"
)

// Kinds that are notes by default.
const (
	SupplyReserved        Kind = "supply-reserved"
	ClassDiffers          Kind = "class-differs"
	UnencryptedManagement Kind = "unencrypted-management"
	WeakSNMP              Kind = "weak-snmp"
	CertificateChanged    Kind = "certificate-changed"
	Restarted             Kind = "restarted"
	FirmwareChanged       Kind = "firmware-changed"
	PortsRenumbered       Kind = "ports-renumbered"
	ChangingMACDevices    Kind = "changing-mac-devices"
)

// Kinds found on paper, by check.
const (
	OverBudget       Kind = "over-budget"
	OverCurrent      Kind = "over-current"
	VoltageLow       Kind = "voltage-low"
	PassiveHazard    Kind = "passive-hazard"
	AddressOutside   Kind = "address-outside"
	DoubleAssignment Kind = "double-assignment"
	LinkMarginLow    Kind = "link-margin-low"
	RadiatedPower    Kind = "radiated-power"
	LoadOverLink     Kind = "load-over-link"
	ChannelOverlap   Kind = "channel-overlap"
	NoRoom           Kind = "no-room"
)

// defaults holds each kind's default severity; a kind that is not here does not exist.
var defaults = map[Kind]Severity{
	MissingDevice:         Urgent,
	AddressConflict:       Urgent,
	SecondDHCPServer:      Urgent,
	PowerToPassive:        Urgent,
	PortPowerOver:         Urgent,
	SupplyPowerOver:       Urgent,
	NotPowered:            Urgent,
	FactoryLogin:          Urgent,
	UPSOnBattery:          Urgent,
	CutOff:                Urgent,
	UnknownDevice:         Warning,
	ReplacedDevice:        Warning,
	MovedDevice:           Warning,
	WrongNetwork:          Warning,
	WrongVLAN:             Warning,
	AddressDiffers:        Warning,
	ProxyARP:              Warning,
	NoAddress:             Warning,
	PortPowerNear:         Warning,
	SupplyPowerNear:       Warning,
	PowerDenied:           Warning,
	PowerFaults:           Warning,
	NotInitialised:        Warning,
	DefaultCommunity:      Warning,
	LinkSlow:              Warning,
	HalfDuplex:            Warning,
	LinkErrors:            Warning,
	LinkDown:              Warning,
	RadioLevelLow:         Warning,
	LinkLoadNear:          Warning,
	RecordingShort:        Warning,
	NoStream:              Warning,
	ClockOff:              Warning,
	UPSBattery:            Warning,
	InternetDown:          Warning,
	CouldNotLook:          Warning,
	SupplyReserved:        Note,
	ClassDiffers:          Note,
	UnencryptedManagement: Note,
	WeakSNMP:              Note,
	CertificateChanged:    Note,
	Restarted:             Note,
	FirmwareChanged:       Note,
	PortsRenumbered:       Note,
	ChangingMACDevices:    Note,
	OverBudget:            Urgent,
	OverCurrent:           Urgent,
	VoltageLow:            Urgent,
	PassiveHazard:         Urgent,
	AddressOutside:        Urgent,
	DoubleAssignment:      Urgent,
	LinkMarginLow:         Warning,
	RadiatedPower:         Urgent,
	LoadOverLink:          Urgent,
	ChannelOverlap:        Warning,
	NoRoom:                Urgent,
}

// Severity is the kind's default; Note for a kind that does not exist.
func (k Kind) Severity() Severity {
	if s, ok := defaults[k]; ok {
		return s
	}
	return Note
}

// Kinds is every kind, the most urgent by default first, then by name.
func Kinds() []Kind {
	return slices.SortedFunc(maps.Keys(defaults), func(a, b Kind) int {
		return cmp.Or(a.Severity().Rank()-b.Severity().Rank(), cmp.Compare(a, b))
	})
}

// OfAbsence reports whether findings of the kind say that something is not
// there, which proves nothing while the site is only coming up.
func (k Kind) OfAbsence() bool {
	switch k {
	case MissingDevice, CutOff, LinkDown, NotPowered, CouldNotLook, NoStream:
		return true
	}
	return false
}
