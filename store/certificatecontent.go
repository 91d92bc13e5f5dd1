package store

import "coatbook/quality"

// CertificateVersion is the version of the content of a certificate that this program writes.
const CertificateVersion = 1

// A CertificateContent is all that a certificate states. It is stored as it was hashed and signed and never made again.
// Times are RFC 3339 with the site's offset, days are 2006-01-02, figures are the digits that are printed.
type CertificateContent struct {
	Version     int                     `json:"version"`
	Number      string                  `json:"number"`
	Site        string                  `json:"site"`
	SiteCode    string                  `json:"site_code"`
	Customer    string                  `json:"customer"`
	OrderRef    string                  `json:"order_ref"`
	IssuedAt    string                  `json:"issued_at"`
	Shipment    *CertificateShipment    `json:"shipment,omitempty"`
	Supersedes  *CertificateSuperseded  `json:"supersedes,omitempty"`
	Specs       []CertificateSpec       `json:"specs"`
	Parts       []CertificatePart       `json:"parts"`
	Methods     []CertificateMethod     `json:"methods"`
	Film        []CertificateFilm       `json:"film,omitempty"`
	Results     []CertificateResult     `json:"results"`
	Devices     []CertificateDevice     `json:"devices,omitempty"`
	Lots        []CertificateLot        `json:"lots,omitempty"`
	Concessions []CertificateConcession `json:"concessions,omitempty"`
	Exceptions  []CertificateException  `json:"exceptions,omitempty"`
	Changes     []CertificateChange     `json:"changes,omitempty"`
	Verdict     string                  `json:"verdict"`
	Rule        string                  `json:"rule"`
}

// A CertificateShipment is what the parts left with.
type CertificateShipment struct {
	Number       string `json:"number"`
	DeliveryNote string `json:"delivery_note"`
	ShippedAt    string `json:"shipped_at"`
}

// A CertificateSuperseded is the certificate in whose place a new one was issued, and why.
type CertificateSuperseded struct {
	Number string `json:"number"`
	Code   string `json:"code"`
	Reason string `json:"reason"`
}

// A CertificateSpec is a revision of a finish spec that the parts were judged by.
type CertificateSpec struct {
	Code      string `json:"code"`
	Revision  string `json:"revision"`
	Title     string `json:"title"`
	Effective string `json:"effective"`
}

// A CertificatePart is one part: what it is, its release and how often a record behind it was changed.
type CertificatePart struct {
	Serial     string `json:"serial"`
	PartNumber string `json:"part_number"`
	Name       string `json:"name"`
	Alloy      string `json:"alloy"`
	Job        string `json:"job"`
	Cycle      int    `json:"cycle"`
	ReleasedAt string `json:"released_at"`
	ReleasedBy string `json:"released_by"`
	Concession string `json:"concession,omitempty"`
	Amended    int    `json:"amended"`
	// Sampled are the requirements that were met by a sample of the part's inspection lot, in words.
	Sampled []string `json:"sampled,omitempty"`
}

// A CertificateMethod is how one kind of check was made and decided, and on how many.
type CertificateMethod struct {
	Kind quality.Kind `json:"kind"`
	// What is set for a characteristic of the check that the spec samples apart from it.
	What   quality.Sampled `json:"what,omitempty"`
	Spec   string          `json:"spec"`
	Method string          `json:"method"`
	Rule   string          `json:"rule"`
	Sample string          `json:"sample"`
}

// Name returns in words what the method is of.
func (m CertificateMethod) Name() string {
	if m.What != "" {
		return m.What.Name()
	}
	return m.Kind.Name()
}

// A CertificateFilm is the film thickness of one part. Mean is the mean of the spot means, as the rules judge it; Min and Max are
// of single readings.
type CertificateFilm struct {
	Serial  string            `json:"serial"`
	Unit    string            `json:"unit"`
	N       int               `json:"n"`
	Mean    string            `json:"mean"`
	Min     string            `json:"min"`
	Max     string            `json:"max"`
	Areas   []CertificateArea `json:"areas"`
	Limit   string            `json:"limit"`
	Verdict string            `json:"verdict"`
	Device  string            `json:"device"`
	At      string            `json:"at"`
	By      string            `json:"by"`
	Amended bool              `json:"amended"`
}

// A CertificateArea is one area, or one spot where the spec knows no areas: readings, mean and least spot mean.
type CertificateArea struct {
	Name string `json:"name"`
	N    int    `json:"n"`
	Mean string `json:"mean"`
	Min  string `json:"min"`
}

// A CertificateResult is one record of another kind, with the parts that it speaks for.
type CertificateResult struct {
	Kind    quality.Kind      `json:"kind"`
	On      string            `json:"on"`
	Parts   []string          `json:"parts"`
	Verdict string            `json:"verdict"`
	Rule    string            `json:"rule"`
	Lines   []CertificateLine `json:"lines"`
	At      string            `json:"at"`
	By      string            `json:"by"`
	Amended bool              `json:"amended"`
}

// A CertificateLine is one comparison: what, where, found and limit.
type CertificateLine struct {
	What    string `json:"what"`
	Place   string `json:"place,omitempty"`
	Value   string `json:"value,omitempty"`
	Unit    string `json:"unit,omitempty"`
	Limit   string `json:"limit,omitempty"`
	Verdict string `json:"verdict"`
	Text    string `json:"text"`
}

// A CertificateDevice is a measuring device, with what vouches for it.
type CertificateDevice struct {
	Code        string `json:"code"`
	Kind        string `json:"kind"`
	Serial      string `json:"serial"`
	Certificate string `json:"certificate"`
	Due         string `json:"due"`
}

// A CertificateLot is a lot of powder or other material that went into the parts.
type CertificateLot struct {
	Role        string `json:"role"`
	Product     string `json:"product"`
	Maker       string `json:"maker"`
	Lot         string `json:"lot"`
	Certificate string `json:"certificate"`
	Expires     string `json:"expires"`
}

// A CertificateConcession is a customer's leave that parts stand under.
type CertificateConcession struct {
	Reference string   `json:"reference"`
	Limits    string   `json:"limits"`
	Reason    string   `json:"reason"`
	Parts     []string `json:"parts"`
}

// A CertificateException is a rule that was passed over with authority.
type CertificateException struct {
	Sentence string `json:"sentence"`
	Reason   string `json:"reason"`
	By       string `json:"by"`
	At       string `json:"at"`
}

// A CertificateChange is one change to a record behind the parts since it was first entered.
type CertificateChange struct {
	Kind   quality.Kind `json:"kind"`
	On     string       `json:"on"`
	What   string       `json:"what"` // old and new value, empty where more than values changed
	Void   bool         `json:"void"`
	Code   string       `json:"code"`
	Reason string       `json:"reason"`
	By     string       `json:"by"`
	At     string       `json:"at"`
	Parts  []string     `json:"parts"`
}
