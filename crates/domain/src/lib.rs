//! Every rule of the trade, pure.
