//! What would point to a person or a place is never taken: columns that are named for it, and
//! cells that look like it.
//!
//! The grid of positions is stated here: none is taken at all, so that a text that reads as
//! degrees with more than [`GRID_DECIMALS`] decimals is refused wherever a code is wanted.

use crate::intake::rejection::{Fault, code, shown};

/// Decimals of a degree up to which a number is not taken for a position: about a kilometre.
const GRID_DECIMALS: usize = 2;
/// Digits of a number, without a letter, that may reach a telephone or stand for a person.
/// International telephone numbers have at most 15 (ITU-T E.164; MEMORY).
const NUMBER_DIGITS: std::ops::RangeInclusive<usize> = 9..=15;

/// Kinds of personal data with the words for them in English, French, Spanish, Portuguese,
/// German, Swahili, Indonesian, Hindi, Arabic, Russian and Chinese, without accents.
/// Common practice, no source.
const KINDS: &[(&str, &[&str])] = &[
    (
        "a person's name",
        &[
            "name",
            "names",
            "surname",
            "firstname",
            "lastname",
            "fullname",
            "nickname",
            "head",
            "respondent",
            "owner",
            "beneficiary",
            "nom",
            "prenom",
            "noms",
            "nombre",
            "nombres",
            "apellido",
            "apellidos",
            "nome",
            "sobrenome",
            "apelido",
            "vorname",
            "nachname",
            "familienname",
            "jina",
            "majina",
            "nama",
            "naam",
            "नाम",
            "اسم",
            "الاسم",
            "имя",
            "фамилия",
            "姓名",
            "名字",
        ],
    ),
    (
        "a telephone number",
        &[
            "phone",
            "phones",
            "mobile",
            "tel",
            "telephone",
            "cell",
            "cellphone",
            "cellular",
            "whatsapp",
            "msisdn",
            "sms",
            "gsm",
            "fax",
            "simu",
            "telefono",
            "telefone",
            "telefon",
            "celular",
            "movil",
            "telemovel",
            "portable",
            "handy",
            "handynummer",
            "telepon",
            "ponsel",
            "फोन",
            "मोबाइल",
            "هاتف",
            "جوال",
            "телефон",
            "电话",
            "手机",
        ],
    ),
    (
        "an address",
        &[
            "address",
            "addresses",
            "street",
            "email",
            "mail",
            "plot",
            "postcode",
            "zipcode",
            "adresse",
            "rue",
            "courriel",
            "direccion",
            "calle",
            "correo",
            "endereco",
            "rua",
            "strasse",
            "hausnummer",
            "anwani",
            "barua",
            "alamat",
            "jalan",
            "surel",
            "पता",
            "عنوان",
            "адрес",
            "почта",
            "地址",
            "邮箱",
        ],
    ),
    (
        "an exact position",
        &[
            "gps",
            "lat",
            "latitude",
            "lon",
            "lng",
            "long",
            "longitude",
            "coordinate",
            "coordinates",
            "coords",
            "geopoint",
            "geotrace",
            "geolocation",
            "position",
            "altitude",
            "easting",
            "northing",
            "utm",
            "latitud",
            "longitud",
            "coordenadas",
            "ubicacion",
            "coordonnees",
            "localisation",
            "breitengrad",
            "langengrad",
            "koordinaten",
            "koordinat",
            "lintang",
            "bujur",
            "latitudo",
            "longitudo",
            "अक्षांश",
            "देशांतर",
            "إحداثيات",
            "широта",
            "долгота",
            "координаты",
            "纬度",
            "经度",
        ],
    ),
    (
        "a mark of one person",
        &[
            "birth",
            "birthday",
            "birthdate",
            "dob",
            "passport",
            "nid",
            "nin",
            "ssn",
            "photo",
            "signature",
            "fingerprint",
            "thumbprint",
            "aadhaar",
            "aadhar",
            "nik",
            "ktp",
            "cpf",
            "curp",
            "dni",
            "cedula",
            "cni",
            "nrc",
            "nida",
            "kitambulisho",
            "naissance",
            "passeport",
            "nacimiento",
            "pasaporte",
            "firma",
            "nascimento",
            "passaporte",
            "assinatura",
            "geburtsdatum",
            "ausweis",
            "kuzaliwa",
            "tanggallahir",
            "paspor",
            "паспорт",
            "身份证",
        ],
    ),
];

/// Parts that betray a compound such as `householdphonenumber`.
const PARTS: &[(&str, &str)] = &[
    ("phone", "a telephone number"),
    ("telefon", "a telephone number"),
    ("latitud", "an exact position"),
    ("longitud", "an exact position"),
    ("geoloc", "an exact position"),
    ("firstname", "a person's name"),
    ("lastname", "a person's name"),
    ("surname", "a person's name"),
    ("prenom", "a person's name"),
    ("passport", "a mark of one person"),
    ("nationalid", "a mark of one person"),
];

/// Words that say it only together.
const TOGETHER: &[(&[&str], &str)] = &[
    (&["national", "id"], "a mark of one person"),
    (&["id", "number"], "a mark of one person"),
    (&["identity", "number"], "a mark of one person"),
    (&["identity", "card"], "a mark of one person"),
    (&["carte", "identite"], "a mark of one person"),
    (&["voter", "id"], "a mark of one person"),
];

/// A place or a product may have a name; a person's is what must stay out.
const THINGS: &[&str] = &[
    "site",
    "village",
    "laboratory",
    "lab",
    "dish",
    "model",
    "stove",
    "fuel",
    "device",
    "programme",
];

/// The fault of a column whose name points to a person or a place; `words` are those of the name.
pub(in crate::intake) fn personal_column(name: &str, words: &[String]) -> Option<Fault> {
    let what = personal_data(words)?;
    let detail = format!(
        "{} looks like {what}: data that points to a person is never taken; \
         use the programme's own codes and delete the column",
        shown(name)
    );
    Some(Fault::new(code::PERSONAL_DATA, detail))
}

/// What of a person the words of a column's name point to.
fn personal_data(words: &[String]) -> Option<&'static str> {
    let words: Vec<String> = words.iter().map(|word| without_accents(word)).collect();
    let has = |wanted: &str| words.iter().any(|word| word == wanted);
    if THINGS.iter().any(|thing| has(thing)) {
        return None;
    }
    let listed = KINDS
        .iter()
        .find(|(_, list)| list.iter().any(|word| has(word)))
        .map(|(what, _)| *what);
    let together = || {
        TOGETHER
            .iter()
            .find(|(all, _)| all.iter().all(|word| has(word)))
            .map(|(_, what)| *what)
    };
    let part = || {
        PARTS
            .iter()
            .find(|(part, _)| words.iter().any(|word| word.contains(part)))
            .map(|(_, what)| *what)
    };
    listed.or_else(together).or_else(part)
}

/// Latin letters without their accents; everything else as it is.
fn without_accents(word: &str) -> String {
    word.chars()
        .filter(|character| !('\u{300}'..='\u{36f}').contains(character))
        .map(|character| match character {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => 'a',
            'ç' => 'c',
            'è' | 'é' | 'ê' | 'ë' => 'e',
            'ì' | 'í' | 'î' | 'ï' => 'i',
            'ñ' => 'n',
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' => 'o',
            'ù' | 'ú' | 'û' | 'ü' => 'u',
            other => other,
        })
        .collect()
}

/// The fault of a cell that should hold a code and looks like something of a person.
/// The sentence does not repeat the cell.
pub(in crate::intake) fn personal_cell(text: &str) -> Option<Fault> {
    let (what, advice) = if is_mail_address(text) {
        ("an e-mail address", "write a code of the programme's own")
    } else if is_position(text) {
        (
            "an exact position",
            "positions are not taken, at no grid; write a code of the programme's own",
        )
    } else if is_long_number(text) {
        (
            "a telephone or identity number",
            "a code of digits alone has at most 8 of them; put letters of your own before it",
        )
    } else {
        return None;
    };
    let detail = format!("the cell looks like {what}, which is never taken: {advice}");
    Some(Fault::new(code::PERSONAL_DATA, detail))
}

fn is_mail_address(text: &str) -> bool {
    let Some((who, host)) = text.rsplit_once('@') else {
        return false;
    };
    !who.is_empty()
        && host
            .split_once('.')
            .is_some_and(|(a, b)| !a.is_empty() && !b.is_empty())
}

/// Digits with nothing but what people write between those of a telephone number.
fn is_long_number(text: &str) -> bool {
    // Most codes are short: this is asked of every one of millions.
    if text.len() < *NUMBER_DIGITS.start() {
        return false;
    }
    let digits = text.chars().filter(char::is_ascii_digit).count();
    let others = |character: char| character.is_ascii_digit() || " +-./()".contains(character);
    NUMBER_DIGITS.contains(&digits) && text.chars().all(others)
}

/// A number of degrees finer than the grid, alone or beside another one.
fn is_position(text: &str) -> bool {
    if !text.contains('.') {
        return false;
    }
    let parts: Vec<&str> = text
        .split([',', ';', ' ', '/', '_'])
        .filter(|part| !part.is_empty())
        .collect();
    let degrees =
        |part: &&str| decimals_of_degrees(part).is_some_and(|found| found > GRID_DECIMALS);
    (1..=4).contains(&parts.len())
        && parts.iter().any(degrees)
        && parts.iter().all(|part| as_number(part).is_some())
}

/// The number in a part of a position, without its sign, degree mark and hemisphere.
fn as_number(part: &str) -> Option<&str> {
    let letters = ['N', 'S', 'E', 'W', 'n', 's', 'e', 'w', '°', 'º'];
    let plain = part.trim_matches(letters).trim_start_matches(['-', '+']);
    let form = plain
        .bytes()
        .all(|byte| byte.is_ascii_digit() || byte == b'.');
    let points = plain.bytes().filter(|byte| *byte == b'.').count();
    (form && points <= 1 && plain.bytes().any(|byte| byte.is_ascii_digit())).then_some(plain)
}

fn decimals_of_degrees(part: &str) -> Option<usize> {
    let (whole, decimals) = as_number(part)?.split_once('.')?;
    let degrees: u32 = whole.parse().ok()?;
    (degrees <= 180).then_some(decimals.len())
}

#[cfg(test)]
mod tests;
