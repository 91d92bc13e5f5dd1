package ui

import (
	"crypto/sha256"
	"encoding/hex"
	"maps"
	"slices"
)

// A cautionText is a caution in one language: the headline stands open, the rest one tap away.
type cautionText struct{ language, headline, rest string }

// A caution is the same warning in English and Spanish.
type caution struct{ en, es cautionText }

func said(enHeadline, enRest, esHeadline, esRest string) caution {
	return caution{cautionText{"en", enHeadline, enRest + " The safety data sheet, the shop's procedure and local codes come first; work that needs a licence stays with those who hold it."},
		cautionText{"es", esHeadline, esRest + " La ficha de datos de seguridad, el procedimiento del taller y las normas locales van primero; el trabajo que exige licencia queda para quien la tiene."}}
}

// inOrder gives both languages, the reader's first.
func (c caution) inOrder(language string) []cautionText {
	if language == "es" {
		return []cautionText{c.es, c.en}
	}
	return []cautionText{c.en, c.es}
}

// cautions stand where the work is recorded. They warn and defer; they give no instructions of their own and no medical advice.
var cautions = map[string]caution{
	"weld": said("Weld fume, arc light, aluminium dust.",
		"Look only at welds that are cold and out of the arc's sight. Fume and grinding dust are harmful, and fine aluminium dust burns; keep extraction running.",
		"Humo de soldadura, luz del arco, polvo de aluminio.",
		"Mire solo soldaduras frías y fuera de la vista del arco. El humo y el polvo de esmerilado son dañinos, y el polvo fino de aluminio arde; mantenga la extracción en marcha."),
	"pretreatment": said("Acids, alkalis and fluorides in the wash.",
		"Titanium and zirconium baths can hold fluoride: a splash needs the eyewash and the first-aid section of the safety data sheet at once. Wear the protection it names. Hot tanks scald.",
		"Ácidos, álcalis y fluoruros en el lavado.",
		"Los baños de titanio y circonio pueden contener fluoruro: una salpicadura exige de inmediato el lavaojos y la sección de primeros auxilios de la ficha de datos de seguridad. Use la protección que indica. Los tanques calientes queman."),
	"fluoride": said("A conversion chemical in use holds fluoride.",
		"Any splash, however small: the eyewash or shower, then the first-aid section (4) of its safety data sheet, at once. Gloves, face shield and apron as its protection section (8) says. Never mix it with what the sheet forbids. This book gives no medical advice.",
		"Un producto de conversión en uso contiene fluoruro.",
		"Toda salpicadura, por pequeña que sea: el lavaojos o la ducha, y luego la sección de primeros auxilios (4) de su ficha de datos de seguridad, de inmediato. Guantes, careta y delantal según su sección de protección (8). No lo mezcle con lo que la ficha prohíbe. Este libro no da consejo médico."),
	"coating": said("Charged guns; powder in air can burn.",
		"Hangers, parts and people at the booth must be earthed. A tablet, scanner or gauge that is not rated stays outside the classified spray area.",
		"Pistolas con carga; el polvo en el aire puede arder.",
		"Los ganchos, las piezas y las personas en la cabina deben estar puestos a tierra. Una tableta, lector o medidor sin clasificación queda fuera de la zona clasificada de pintado."),
	"cure": said("Hot parts, hot oven.",
		"Do not open during purge. Interlocks stay as they are; service work belongs to authorised people under lock-out.",
		"Piezas calientes, horno caliente.",
		"No abra durante la purga. Los enclavamientos quedan como están; el servicio es de personas autorizadas y con bloqueo."),
	"cure_test": said("Solvent burns: small amounts, ventilated, gloved.",
		"MEK and like solvents catch fire easily. Keep them away from ovens, sparks and charged spray equipment, and close the can.",
		"El disolvente arde: poca cantidad, ventilado, con guantes.",
		"La MEK y disolventes parecidos se inflaman con facilidad. Manténgalos lejos de hornos, chispas y equipos de pintado con carga, y cierre el bote."),
	"panel_test": said("Blades cut; falling weights and mandrels crush.",
		"Cut away from the hand that holds the panel. Keep fingers clear of the striker and the bend. Flakes of film fly: cover the eyes.",
		"Las cuchillas cortan; las pesas y los mandriles aplastan.",
		"Corte alejándose de la mano que sujeta el panel. Mantenga los dedos lejos del percutor y del doblez. Saltan escamas de película: proteja los ojos."),
	"hot": said("Parts from the oven may still be hot.",
		"Measure at room temperature: a warm film marks and reads wrong.",
		"Las piezas del horno pueden seguir calientes.",
		"Mida a temperatura ambiente: una película tibia se marca y da lecturas falsas."),
}

// KnownCaution reports whether there is a caution of that kind.
func KnownCaution(kind string) bool {
	_, ok := cautions[kind]
	return ok
}

// CautionKinds lists the kinds that have a caution, in order.
func CautionKinds() []string { return slices.Sorted(maps.Keys(cautions)) }

// A CautionText is a caution as it is printed, for those who review the texts.
type CautionText struct{ Kind, English, Spanish string }

// CautionTexts lists all cautions in both languages.
func CautionTexts() []CautionText {
	var texts []CautionText
	for _, kind := range CautionKinds() {
		c := cautions[kind]
		texts = append(texts, CautionText{kind, c.en.headline + " " + c.en.rest, c.es.headline + " " + c.es.rest})
	}
	return texts
}

// CautionHash is the SHA-256 of all texts in both languages: a review of the texts names it, and a changed text needs a new
// review.
func CautionHash() string {
	sum := sha256.New()
	for _, kind := range CautionKinds() {
		for _, t := range cautions[kind].inOrder("en") {
			for _, text := range []string{kind, t.language, t.headline, t.rest} {
				sum.Write([]byte(text))
				sum.Write([]byte{0})
			}
		}
	}
	return hex.EncodeToString(sum.Sum(nil))
}
