//! A config as an encoding, whether the build reads configs or not.

#[cfg(feature = "ocio")]
mod read;

use super::*;

#[test]
fn without_a_config_the_error_says_how_to_give_one() {
    let request =
        ConfigRequest { config: None, name: "dock log", picture: Path::new("plate.dpx"), space_is_told: false };
    let error = ConfigTransform::read(&request).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Parameter);
    assert!(error.remedy.contains("--ocio"), "{}", error.remedy);
    assert_eq!(name_in_config("ocio:dock log"), Some("dock log"));
    assert_eq!(name_in_config("s-log3"), None);
}
