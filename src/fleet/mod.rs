//! Many sites: streaming, progress, resume.
