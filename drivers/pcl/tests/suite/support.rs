//! The module, linked.

use std::sync::LazyLock;

use tapewright_driver_tests::Family;
use tapewright_host::Module;

/// The family of the module.
pub(crate) static PCL: LazyLock<Family> = LazyLock::new(|| {
    let module = Module::from_entry("pcl", tapewright_driver_pcl::linked_entry()).unwrap();
    Family::new(module, "pcl")
});
