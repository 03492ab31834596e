package inventory

import (
	"net/netip"
	"time"
)

// IfIndex is an interface's number in one agent (RFC 2863 ifIndex). It holds
// until the agent restarts, and no longer.
type IfIndex int

// BridgePort is a port's number in the bridge (RFC 4188 dot1dBasePort).
type BridgePort int

// LLDPPort is a port's number in the LLDP agent (IEEE 802.1AB lldpLocPortNum).
type LLDPPort int

// PSEIndex names a row of the PSE table (RFC 3621): a group and a port in it.
type PSEIndex struct {
	Group int `json:"group"`
	Port  int `json:"port"`
}

// EntityIndex is a row of entPhysicalTable (RFC 6933).
type EntityIndex int

// Agent is what one SNMP agent told in this run. Tables says which were
// offered and complete; an empty slice means "none" only where it says Complete.
type Agent struct {
	Device     string // the planned device that was asked; empty: an agent found by other means
	Target     netip.AddrPort
	Alias      netip.Addr // it answered from here instead
	Read       time.Time
	Version    string // v1, v2c, v3
	Weak       []string
	Tables     map[string]Result // by the Table constants
	Engine     Engine
	System     System
	Interfaces []Interface
	Addresses  []AgentAddress
	BridgeMAC  MAC // dot1dBaseBridgeAddress
	Bridge     map[BridgePort]IfIndex
	FDB        []FDBEntry
	VLANs      []VLAN
	PVID       map[BridgePort]int
	LLDP       LLDPLocal
	Neighbors  []LLDPNeighbor
	PSEPorts   []PSEPort
	Supplies   []PSESupply
	Entities   []Entity
	Sensors    []SensorReading
	Energy     []EnergyObject
	Storage    []Storage
	Date       *AgentDate
	UPS        *UPSReading
	Radio      []RadioInterface
	Printer    bool
	Objects    []ObjectReading
	STP        []STPPort
	LAG        map[IfIndex]IfIndex // member -> aggregate
	Stats      AgentStats
}

// Names of tables in Agent.Tables and in coverage.
const (
	TableSystem     = "SNMPv2-MIB"
	TableInterfaces = "IF-MIB"
	TableEther      = "EtherLike-MIB"
	TableIP         = "IP-MIB"
	TableNeighbors  = "IP-MIB neighbours"
	TableBridge     = "BRIDGE-MIB"
	TableFDB        = "forwarding table"
	TableVLAN       = "Q-BRIDGE-MIB"
	TableLLDP       = "LLDP-MIB"
	TablePSE        = "POWER-ETHERNET-MIB"
	TablePSE8023    = "IEEE8023-POWER-ETHERNET-MIB"
	TableEntity     = "ENTITY-MIB"
	TableSensor     = "ENTITY-SENSOR-MIB"
	TableEnergy     = "ENERGY-OBJECT-MIB"
	TableHost       = "HOST-RESOURCES-MIB"
	TableUPS        = "UPS-MIB"
	TableDot11      = "IEEE802dot11-MIB"
	TablePrinter    = "Printer-MIB"
	TableLAG        = "IEEE8023-LAG-MIB"
	TableObjects    = "objects named by the plan"
)

// AgentStats tells how reading went.
type AgentStats struct {
	Requests    int
	Retries     int
	Mismatched  int // values dropped because they answered another question
	Strays      int // datagrams dropped because they answer no request, such as another device's
	Repetitions int // that worked
	Took        time.Duration
}

// Engine is an SNMPv3 engine (RFC 3411). Known is false over v1 and v2c.
type Engine struct {
	Known bool
	ID    string // raw octets
	Boots uint32
	Time  uint32 // seconds
}

// System is the system group (RFC 3418). UpTime is nil where the agent offers none.
type System struct {
	Descr    string
	ObjectID string
	Name     string
	Location string
	Services int
	Forwards *bool   // ipForwarding (RFC 4293); nil: not said
	UpTime   *uint32 // sysUpTime, hundredths of a second
	HostUp   *uint32 // hrSystemUptime, hundredths of a second
}

// Interface is a row of ifTable with ifXTable and EtherLike-MIB. Pointers are
// nil where the agent does not offer the column.
type Interface struct {
	Index         IfIndex
	Name          string // ifName, cleaned
	Descr         string
	Alias         string
	Type          int // IANAifType
	MAC           MAC
	AdminUp       *bool
	OperUp        *bool
	Speed         BitRate // 0: not said
	Connector     *bool
	LastChange    *uint32 // sysUpTime ticks
	InOctets      *uint64
	OutOctets     *uint64
	Wide          bool // octets come from the 64-bit counters
	InErrors      *uint64
	OutErrors     *uint64
	FCSErrors     *uint64
	LateColls     *uint64
	Discontinuity *uint32
	HalfDuplex    *bool
}

// AgentAddress is one of the agent's own IP addresses.
type AgentAddress struct {
	Addr   netip.Addr
	Prefix int // 0: not said
	Index  IfIndex
	Origin string // manual, dhcp, linklayer, random; empty: not said
	State  string // duplicate, preferred, …
}

// FDBEntry says that a frame from MAC came in through Port (RFC 4188, RFC 4363).
type FDBEntry struct {
	MAC    MAC
	Port   BridgePort // 0: the agent does not know
	VLAN   int        // 0: not known
	Filter int        // the filtering database, where the VLAN is not known
	Self   bool       // the bridge's own address
	Static bool
}

// VLAN is a row of the VLAN table.
type VLAN struct {
	ID       int
	Name     string
	Egress   []BridgePort // members, tagged or not
	Untagged []BridgePort
}

// LLDPLocal is what the agent says of itself and its ports.
type LLDPLocal struct {
	ChassisSubtype int
	Chassis        string
	ChassisMAC     MAC
	SysName        string
	Ports          []LLDPLocalPort
}

// LLDPLocalPort is a row of lldpLocPortTable.
type LLDPLocalPort struct {
	Num     LLDPPort
	Subtype int
	ID      string
	MAC     MAC // where the subtype is macAddress(3)
	Descr   string
	PSE     bool // lldpXdot3LocPowerPortClass or the MED twin says pse
	Index   IfIndex
}

// LLDPNeighbor is one neighbour on one local port, both LLDP arcs merged.
type LLDPNeighbor struct {
	Local          LLDPPort
	LocalIndex     IfIndex // from the V2 arc; 0: from Local
	ChassisSubtype int
	Chassis        string // as text by its subtype
	ChassisMAC     MAC
	PortSubtype    int
	PortID         string
	PortMAC        MAC
	PortDescr      string
	SysName        string
	SysDescr       string
	Capabilities   []string // enabled: repeater, bridge, wlanAccessPoint, router, telephone, docsis, stationOnly
	Addresses      []netip.Addr
	PVID           int // lldpXdot1RemPortVlanId; 0: not said
	Power          *LLDPPower
	MED            *MEDInventory
}

// LLDPPower is what was negotiated, at the device's input (IEEE 802.3 79.3.2).
type LLDPPower struct {
	PD        bool
	Class     Class
	Requested Power
	Allocated Power
	Source    string // dot3, dot3-v2, med
}

// MEDInventory is LLDP-MED's inventory (ANSI/TIA-1057).
type MEDInventory struct {
	Maker, Model, Serial, Hardware, Firmware, Software string
}

// PSEState is pethPsePortDetectionStatus.
type PSEState string

// The states, as the contract spells them. Off is admin disabled.
const (
	PSEDelivering PSEState = "delivering"
	PSESearching  PSEState = "searching"
	PSEOff        PSEState = "off"
	PSEFault      PSEState = "fault"
	PSETest       PSEState = "test"
	PSEUnknown    PSEState = "unknown"
)

// PSEPort is a row of pethPsePortTable and its IEEE successor. Counters are
// nil where not offered.
type PSEPort struct {
	Index      PSEIndex
	Enabled    *bool
	State      PSEState
	Class      Class  // only while delivering
	ClassNote  string // why Class is unknown, such as "class not understood (9)"
	Priority   int    // 1 critical, 2 high, 3 low; 0 not said
	Denied     *uint32
	Overload   *uint32
	Short      *uint32
	MPSAbsent  *uint32
	BadSig     *uint32
	Actual     *Power // aPSEActualPower
	Accuracy   *int64 // as reported
	Energy     *uint64
	EnergyWide bool
}

// PSESupply is a row of pethMainPseTable: whole watts.
type PSESupply struct {
	Group     int
	On        *bool
	Budget    *Power
	Used      *Power
	Threshold int
}

// Entity is a row of entPhysicalTable.
type Entity struct {
	Index      EntityIndex
	Class      int
	In         EntityIndex
	Position   int
	Name       string
	Descr      string
	Maker      string
	Model      string
	Serial     string
	Hardware   string
	Firmware   string
	Software   string
	Interfaces []IfIndex // entAliasMappingIdentifier
}

// SensorReading is a row of entPhySensorTable, decoded (RFC 3433). Value is nil
// unless the sensor's status is ok.
type SensorReading struct {
	Entity EntityIndex
	Type   int // 3 voltsAC, 4 voltsDC, 5 amperes, 6 watts, 8 celsius, …
	Value  *float64
	Name   string
}

// EnergyObject is a row of eoPowerTable with its context (RFC 7460, RFC 7461).
type EnergyObject struct {
	Entity   EntityIndex
	Power    *Power // positive: drawn from or delivered by it, the sign taken off
	Supplies bool   // the sign said that it feeds
	Measured bool   // eoPowerMeasurementCaliber actual(3)
	Port     PSEIndex
	LLDP     LLDPPort
	Name     string
}

// Storage is a row of hrStorageTable.
type Storage struct {
	Index int
	Descr string
	Fixed bool // hrStorageFixedDisk
	Size  int64
	Used  int64
}

// AgentDate is hrSystemDate.
type AgentDate struct {
	Time time.Time
	Zone bool // it said its zone
	Read time.Time
}

// UPSReading is UPS-MIB (RFC 1628), what was implausible left out.
type UPSReading struct {
	Maker, Model, Firmware string
	Source                 string // normal, battery, bypass, none, booster, reducer, other; empty: not said
	Battery                string // normal, low, depleted; empty: unknown
	OnBattery              *time.Duration
	Runtime                *time.Duration
	Charge                 *int     // percent
	Volts                  *float64 // of the battery
	Load                   *int     // percent, the highest output line
	Output                 *Power
	Celsius                *float64
	Alarms                 []string // well-known alarm names
	Odd                    []string // values that cannot be, in words
}

// RadioInterface is what IEEE802dot11-MIB offers for one interface.
type RadioInterface struct {
	Index   IfIndex
	Channel int
	TxPower *float64 // dBm
}

// ObjectReading is an object that the plan names, one row.
type ObjectReading struct {
	Use   string
	Kind  string // interface, pse, port, none: what Index counts
	Index int
	Group int // for index pse
	Value *float64
	Why   string // why Value is nil
}

// STPPort is a row of dot1dStpPortTable.
type STPPort struct {
	Port     BridgePort
	Blocking bool
}
