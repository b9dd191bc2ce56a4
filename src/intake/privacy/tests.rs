//! What is known as personal, and what is left alone.

use super::*;
use crate::intake::header::words_of;

/// Headings as forms of several countries write them. Common practice, no source.
#[test]
fn columns_that_point_to_a_person_are_known_in_several_languages() {
    for (what, headings) in [
        (
            "a person's name",
            "First Name|Nom du chef|Prénom|Nombre completo|Apellidos|Nome do titular|Vorname|\
                 jina la mkuu|Nama lengkap|नाम|الاسم|Имя|姓名|head_of_household|respondentSurname",
        ),
        (
            "a telephone number",
            "Phone|mobile no|Numéro de téléphone|teléfono|Telefone|Handynummer|namba ya simu|\
                 No. telepon|मोबाइल|هاتف|телефон|电话|whatsapp|householdphonenumber",
        ),
        (
            "an address",
            "E-mail|Email|Adresse|Dirección|Endereço|Straße und Hausnummer|anwani|Alamat|पता|\
                 عنوان|Адрес|地址",
        ),
        (
            "an exact position",
            "_gps_latitude|LON|geopoint|coordonnées|coordenadas|Längengrad|lintang|अक्षांश|\
                 широта|纬度|householdLongitude",
        ),
        (
            "a mark of one person",
            "National ID|id_number|date of birth|Passport No|Aadhaar|NIK|cédula|CPF|\
                 kitambulisho|Geburtsdatum|carte d'identité|fecha de nacimiento|身份证",
        ),
    ] {
        for heading in headings.split('|') {
            let found = personal_data(&words_of(heading));
            assert_eq!(found, Some(what), "{heading}");
        }
    }
}

#[test]
fn the_templates_own_columns_and_names_of_things_point_to_nobody() {
    for kind in crate::intake::BatchKind::ALL {
        for column in kind.template().columns {
            let found = personal_data(&words_of(column.name));
            assert_eq!(found, None, "{}", column.name);
        }
    }
    for heading in [
        "site_name",
        "model name",
        "Village",
        "serial",
        "fuel id",
        "stove photo",
    ] {
        assert_eq!(personal_data(&words_of(heading)), None, "{heading}");
    }
}

#[test]
fn cells_that_look_like_a_person_or_a_place_are_told_from_codes() {
    for (what, cells) in [
        (
            "telephone",
            "+255 712 345 678|0712345678|(071) 234-5678|254712345678|1987.01.02/33",
        ),
        ("e-mail", "a.b@mail.example|x@y.zz"),
        (
            "position",
            "-17.71340|178.065|-17.713,178.065|S17.7134 E178.065|17.7134_178.06",
        ),
    ] {
        for cell in cells.split('|') {
            let fault = personal_cell(cell)
                .map(|fault| fault.detail)
                .unwrap_or_default();
            assert!(fault.contains(what), "{cell}: {fault}");
            assert!(!fault.contains(cell), "the cell is repeated: {fault}");
        }
    }
    let codes = "HH-0001|GS-000001|12345678|2025-017|G1|1.25|v1.2.3|H-254712345678|NORTH|17.5|\
                     1234567890123456|700.125";
    for cell in codes.split('|') {
        assert_eq!(personal_cell(cell), None, "{cell}");
    }
}
