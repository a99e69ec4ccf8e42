// Puts a parcel together: the reports, the machine's own descriptions, and as much of the recording as fits.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "parcel/highlights.hpp"
#include "parcel/parcel.hpp"
#include "parcel/private_bus.hpp"
#include "report/report.hpp"

namespace tramlog {

/// Writes the capture's frames of these spans (and what must be known before them) to a new capture at
/// `path`.
using SliceMaker =
    std::function<std::optional<Error>(std::span<const SliceSpan> spans, const std::string& path)>;

struct PackOrder {
  const Report* report = nullptr;
  int exit_code = 0;  // of tramlog report on the same captures
  bool place = false;
  ParcelKind kind = ParcelKind::mail;
  std::size_t limit = 8'000'000;          // bytes of the finished file
  std::string roster_text;                // empty: none
  std::optional<PrivateTally> concealed;  // it is a private parcel
  const Density* density = nullptr;
  SliceMaker slice;
};

struct PackedParcel {
  std::string bytes;  // the file
  Parcel parcel;
  std::string remark;  // one sentence: what is in it and what was left out
};

/// Where the reports alone are larger than the limit, the page and then the JSON report are left out, and
/// told. Errors: usage (the rest alone are larger than the limit), environment (slices cannot be written).
Result<PackedParcel> pack(const PackOrder& order);

/// "8MB", "1 MB", "100kB", "2MiB", "500000": bytes; a usage error otherwise, or below 20 kB.
Result<std::size_t> parse_size(std::string_view text);

}  // namespace tramlog
