//! cct_ohno2013
