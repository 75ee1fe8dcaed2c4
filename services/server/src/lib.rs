//! benchringd: the service, its doors, its demo.
